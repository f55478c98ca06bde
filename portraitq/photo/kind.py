"""What kind of file is this? Judged by its first bytes alone; names and types that a browser sends are not asked.

Sources of the signatures: the formats' own specifications; the brands of HEIF from ISO/IEC 23008-12.
"""

from __future__ import annotations

HEAD_BYTES = 512  # as much of a file as `kind_of` wants to see

TAKEN = ("JPEG", "PNG", "WebP", "HEIC", "AVIF")

_SIGNATURES = (
    (b"\xff\xd8\xff", "JPEG"),
    (b"\x89PNG\r\n\x1a\n", "PNG"),
    (b"GIF87a", "a GIF picture"),
    (b"GIF89a", "a GIF picture"),
    (b"II*\x00", "a TIFF or raw camera picture"),
    (b"MM\x00*", "a TIFF or raw camera picture"),
    (b"BM", "a BMP picture"),
    (b"\x00\x00\x01\x00", "an icon"),
    (b"8BPS", "a layered drawing (PSD)"),
    (b"\xff\x0a", "a JPEG XL picture"),
    (b"\x00\x00\x00\x0cJXL ", "a JPEG XL picture"),
    (b"\x00\x00\x00\x0cjP  ", "a JPEG 2000 picture"),
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a ZIP archive or office document"),
    (b"PK\x05\x06", "an empty ZIP archive"),
    (b"\x1f\x8b", "a compressed file (gzip)"),
    (b"Rar!", "a RAR archive"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"\x1aE\xdf\xa3", "a video"),
    (b"\x00\x00\x01\xba", "a video"),
    (b"ID3", "a sound recording"),
    (b"OggS", "a sound recording or video"),
)
_RIFF = {b"WEBP": "WebP", b"AVI ": "a video", b"WAVE": "a sound recording"}
_HEVC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx"}
_AVIF_BRANDS = {b"avif", b"avis"}
_HEIF_BRANDS = {b"mif1", b"msf1"}  # say "HEIF" but not which codec: the compatible brands do


def kind_of(head: bytes) -> str:
    """One of `TAKEN`, or else in plain words what a file is that begins with `head` ("a GIF picture").

    >>> kind_of(bytes.fromhex("ffd8ffe0"))
    'JPEG'
    >>> kind_of(b"Dear customer,")
    'a text'
    """
    if not head:
        return "an empty file"
    if head[4:8] == b"ftyp":
        return _kind_of_boxes(head)
    if head[:4] == b"RIFF":
        return _RIFF.get(head[8:12], "a file of an unknown kind")
    for signature, kind in _SIGNATURES:
        if head.startswith(signature):
            return kind
    return "a text" if _is_text(head) else "a file of an unknown kind"


def _kind_of_boxes(head: bytes) -> str:
    """A file of boxes (ISO base media): length, `ftyp`, major brand, version, then the compatible brands."""
    length = min(int.from_bytes(head[:4], "big"), len(head))
    major = head[8:12]
    brands = {major, *(head[at : at + 4] for at in range(16, length - 3, 4))}
    if major in _HEVC_BRANDS or (major in _HEIF_BRANDS and brands & _HEVC_BRANDS):
        return "HEIC"
    if major in _AVIF_BRANDS or (major in _HEIF_BRANDS and brands & _AVIF_BRANDS):
        return "AVIF"
    return "HEIC" if major in _HEIF_BRANDS else "a video"


def _is_text(head: bytes) -> bool:
    """Whether `head` reads as UTF-8 without control characters; a letter cut by its end does not count against it."""
    try:
        text = head.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.start < HEAD_BYTES - 3:
            return False
        text = head[: error.start].decode("utf-8")
    return all(char.isprintable() or char in "\t\r\n\f\ufeff" for char in text)
