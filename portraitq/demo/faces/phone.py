"""The file that a phone would make: laid sideways, with a place, a camera, a comment and a thumbnail, all invented."""

from __future__ import annotations

import io
import struct

from PIL import Image
from PIL.ExifTags import GPS, IFD, Base

XMP = (
    b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF "
    b"xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#'><rdf:Description"
    b" xmlns:exif='http://ns.adobe.com/exif/1.0/' exif:GPSLatitude='38,42.1N' "
    b"exif:GPSLongitude='9,8.4W'/></rdf:RDF></x:xmpmeta>"
)
# how the pixels lie so that the orientation puts them upright (CIPA DC-008): the inverse of each turn
LAID = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}


def as_phone_jpeg(image: Image.Image, orientation: int = 6) -> bytes:
    """`image` as a phone stores it when it was held so that EXIF says `orientation` (1–8)."""
    laid = image.transpose(LAID[orientation]) if orientation in LAID else image
    out = io.BytesIO()
    laid.save(out, "JPEG", quality=92, exif=_exif(laid, orientation), comment=b"At the quay, Example Phone")
    jpeg = out.getvalue()
    return jpeg[:2] + _segment(0xE1, XMP) + jpeg[2:]


def _exif(image: Image.Image, orientation: int) -> bytes:
    """EXIF with the camera's name, the place, and a thumbnail behind it, as TIFF's second directory."""
    exif = Image.Exif()
    exif[Base.Make] = "Example"
    exif[Base.Model] = "Example Phone"
    exif[Base.Orientation] = orientation
    exif[Base.DateTime] = "2026:06:06 21:04:10"
    place = exif.get_ifd(IFD.GPSInfo)
    place[GPS.GPSLatitudeRef], place[GPS.GPSLatitude] = "N", (38.0, 42.0, 6.0)
    place[GPS.GPSLongitudeRef], place[GPS.GPSLongitude] = "W", (9.0, 8.0, 24.0)
    return _with_thumbnail(exif.tobytes(), image)


def _with_thumbnail(exif: bytes, image: Image.Image) -> bytes:
    """`exif` (as Pillow writes it, Exif header and one directory) with a second directory: a small JPEG."""
    small = image.copy()
    small.thumbnail((160, 160))
    out = io.BytesIO()
    small.save(out, "JPEG", quality=70)
    head, tiff = exif[:6], bytearray(exif[6:])
    order = "<" if tiff[:2] == b"II" else ">"
    (first,) = struct.unpack_from(f"{order}L", tiff, 4)
    (count,) = struct.unpack_from(f"{order}H", tiff, first)
    tiff += bytes(len(tiff) % 2)
    struct.pack_into(f"{order}L", tiff, first + 2 + 12 * count, len(tiff))
    at = len(tiff) + 2 + 2 * 12 + 4
    directory = struct.pack(f"{order}H", 2)
    directory += struct.pack(f"{order}HHLL", 0x0201, 4, 1, at)
    directory += struct.pack(f"{order}HHLL", 0x0202, 4, 1, len(out.getvalue()))
    return head + bytes(tiff) + directory + bytes(4) + out.getvalue()


def _segment(mark: int, content: bytes) -> bytes:
    return b"\xff" + bytes([mark]) + struct.pack(">H", len(content) + 2) + content
