"""What clients of live push may say, and that whoever says anything else is hung up on, quietly.

A client says who it is, once, and may say good-bye. Socket.IO takes much more than that and writes a traceback for each
packet that is none, so that a stranger could fill the disk with them; and who says twice who it is would be sent
everything twice.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any

from flask_socketio import SocketIO
from socketio import packet

log = logging.getLogger(__name__)


def install(socketio: SocketIO) -> None:
    """Look at every message before `socketio` does. To be installed once it has its handlers."""
    server = socketio.server
    server.eio.handlers["message"] = _looked_at(server, server.eio.handlers["message"])


def _looked_at(server: Any, handle: Callable[[str, Any], None]) -> Callable[[str, Any], None]:
    def message(eio_sid: str, said: Any) -> None:
        found = _read(said)
        if found is None or eio_sid not in server.environ or _is_there_already(server, eio_sid, found):
            log.info("a client said what no client says, and was hung up on")
            server.eio.disconnect(eio_sid)
        elif found.packet_type == packet.CONNECT:
            try:
                handle(eio_sid, said)
            except KeyError:  # the last of all hung up at this moment, and Socket.IO put the namespace away under it
                handle(eio_sid, said)
        elif found.packet_type != packet.EVENT:  # nobody here listens for any
            handle(eio_sid, said)

    return message


def _is_there_already(server: Any, eio_sid: str, found: Any) -> bool:
    """Whether it is somebody who says once more who they are."""
    there = server.manager.sid_from_eio_sid(eio_sid, found.namespace or "/")
    return found.packet_type == packet.CONNECT and there is not None


def _read(said: Any) -> Any:
    """The packet in a message, or None where there is none that a client may send."""
    if not isinstance(said, str):
        return None
    try:
        found = packet.Packet(encoded_packet=said)
    except (ValueError, TypeError, KeyError, IndexError, AttributeError, RecursionError):
        return None
    return found if found.packet_type in (packet.CONNECT, packet.DISCONNECT, packet.EVENT) else None
