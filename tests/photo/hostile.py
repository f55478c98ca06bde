"""Files that mean no good, the same on every run: cut, bent, lying about themselves, two things at once, or bombs.

`hostile_files()` gives more than five hundred, each with a name that says what is wrong with it. Some are pictures
all the same (an archive hung behind a JPEG changes nothing about the JPEG); a taker may take those.
"""

from __future__ import annotations

import io
import random
import struct
import zlib
from collections.abc import Callable, Iterator
from functools import cache

import numpy as np
import pillow_heif
from PIL import Image

Named = tuple[str, bytes]
SEED = 20260606
HUGE = (0, 1, 0x7FFFFFFF, 0xFFFFFFFF)
PNG = b"\x89PNG\r\n\x1a\n"


def hostile_files() -> Iterator[Named]:
    """All of them: (what is wrong, the file)."""
    for what in (
        cut,
        bent,
        wrong_lengths,
        other_kinds,
        polyglots,
        absurd_sizes,
        bombs,
        profiles,
        exifs,
        jpegs,
        pngs,
        boxes,
        riffs,
    ):
        yield from ((f"{what.__name__}: {name}", data) for name, data in what())


# Honest pictures to begin with


@cache
def honest() -> dict[str, bytes]:
    """One small picture of each make."""
    noise = np.random.default_rng(SEED).integers(0, 255, (72, 96, 3), np.uint8)
    image = Image.fromarray(noise).resize((192, 144), Image.Resampling.BICUBIC)
    small, other = image.resize((96, 72)), image.rotate(90).resize((96, 72))
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "a camera"
    block = exif.tobytes()
    made: dict[str, Callable[[io.BytesIO], object]] = {
        "jpeg": lambda file: image.save(file, "JPEG", exif=block),
        "progressive jpeg": lambda file: image.save(file, "JPEG", progressive=True, comment=b"hello"),
        "png": lambda file: small.save(file, "PNG", exif=block),
        "palette png": lambda file: small.quantize(32).save(file, "PNG", transparency=3),
        "moving png": lambda file: small.save(file, "PNG", save_all=True, append_images=[other], duration=40),
        "webp": lambda file: image.save(file, "WEBP", exif=block, quality=70),
        "lossless webp": lambda file: small.save(file, "WEBP", lossless=True),
        "moving webp": lambda file: small.save(file, "WEBP", save_all=True, append_images=[other], duration=40),
        "heic": lambda file: pillow_heif.from_pillow(image).save(file, exif=block, quality=50),
        "avif": lambda file: image.save(file, "AVIF", exif=block, quality=50, speed=10),
    }
    found = {}
    for name, write in made.items():
        file = io.BytesIO()
        write(file)
        found[name] = file.getvalue()
    return found


def places(data: bytes) -> list[int]:
    """Where parts of the file begin: segments, chunks or boxes, as far as they can be walked."""
    if data.startswith(b"\xff\xd8"):
        return list(_segments(data))
    if data.startswith(PNG):
        return list(_parts(data, 8, lambda at: 12 + struct.unpack_from(">L", data, at)[0]))
    if data.startswith(b"RIFF"):
        return list(_parts(data, 12, lambda at: 8 + (struct.unpack_from("<L", data, at + 4)[0] + 1) // 2 * 2))
    return list(_boxes(data, 0, len(data)))


def _segments(data: bytes) -> Iterator[int]:
    at = 2
    while at < len(data) - 4:
        if data[at] == 0xFF and data[at + 1] not in (0, 0xFF, *range(0xD0, 0xD9)):
            yield at
            at += 2 + struct.unpack_from(">H", data, at + 2)[0]
        else:
            at = data.find(b"\xff", at + 1)
            if at < 0:
                return


def _parts(data: bytes, at: int, length: Callable[[int], int]) -> Iterator[int]:
    while at < len(data) - 8:
        yield at
        at += length(at)


HOLDING = {b"meta": 12, b"iprp": 8, b"ipco": 8, b"dinf": 8, b"moov": 8, b"iref": 12}


def _boxes(data: bytes, at: int, end: int) -> Iterator[int]:
    while at < end - 8:
        length, kind = struct.unpack_from(">L4s", data, at)
        yield at
        if kind in HOLDING:
            yield from _boxes(data, at + HOLDING[kind], at + length)
        at += max(length, 8)


# What is done to them


def cut() -> Iterator[Named]:
    """Cut off at the beginning of each part, in its head, and at shares of the whole."""
    for name, data in honest().items():
        ends = {end for at in places(data)[:7] for end in (at, at + 5)} | {len(data) * n // 6 for n in range(1, 6)}
        ends |= {1, len(data) - 1}
        yield from ((f"{name} after {end}", data[:end]) for end in sorted(ends) if 0 < end < len(data))


def bent() -> Iterator[Named]:
    """Some bytes changed: in the head, anywhere, and a block overwritten."""
    chance = random.Random(SEED)
    for name, data in honest().items():
        for n in range(12):
            changed = bytearray(data)
            last = min(len(data), 400) if n % 3 == 0 else len(data)
            for _ in range(1 + n):
                changed[chance.randrange(4, last)] = chance.randrange(256)
            if n % 4 == 3:
                at = chance.randrange(20, len(data) - 20)
                changed[at : at + 16] = bytes([0, 255][n % 2] for _ in range(16))
            yield f"{name} {n}", bytes(changed)


def wrong_lengths() -> Iterator[Named]:
    """Parts that say they are longer or shorter than they are."""
    for name, data in honest().items():
        form, shift = (">H", 2) if "jpeg" in name else ("<L", 4) if "webp" in name else (">L", 0)
        for at in places(data)[:4]:
            for length in (0, 2**15 - 1, 2**16 - 1 if form == ">H" else 2**32 - 1):
                changed = bytearray(data)
                struct.pack_into(form, changed, at + shift, length)
                yield f"{name} at {at} says {length}", bytes(changed)


def other_kinds() -> Iterator[Named]:
    """Other kinds of file under a photo's name."""
    image = Image.new("RGB", (64, 64), "grey")
    for form in ("GIF", "BMP", "TIFF", "ICO", "PDF", "PPM", "TGA", "PCX", "SGI", "JPEG2000", "EPS", "DDS"):
        file = io.BytesIO()
        image.save(file, form)
        yield form, file.getvalue()
    yield "nothing but zeros", bytes(5000)
    yield "a web page", b"<!doctype html><script>alert(1)</script>" * 50
    yield "a drawing", b'<svg xmlns="http://www.w3.org/2000/svg"><image href="file:///etc/passwd"/></svg>'
    yield (
        "a drawing that loads",
        b'<?xml version="1.0"?><!DOCTYPE s [<!ENTITY x SYSTEM "file:///etc/passwd">]><svg>&x;</svg>',
    )
    yield "a program", b"\x7fELF\x02\x01\x01" + bytes(2000)
    yield "a program for Windows", b"MZ" + bytes(2000)
    yield "an archive", b"PK\x03\x04" + bytes(2000)
    yield "a script", b"#!/bin/sh\nrm -rf /\n"
    yield "PostScript", b"%!PS-Adobe-3.0\n(/etc/passwd) (r) file\n"
    yield "a film", b"\0\0\0\x18ftypmp42\0\0\0\0isommp42" + bytes(2000)
    yield "a sound", b"RIFF\x24\x08\0\0WAVEfmt " + bytes(2000)
    yield "noise", random.Random(SEED).randbytes(4000)
    yield "ImageMagick's own", b"push graphic-context\nfill 'url(https://127.0.0.1/x\"|id)'\n"


SIGNATURES = {
    "jpeg": b"\xff\xd8\xff\xe0",
    "png": PNG,
    "webp": b"RIFF\xff\xff\0\0WEBPVP8 ",
    "heic": b"\0\0\0\x18ftypheic\0\0\0\0mif1heic",
    "avif": b"\0\0\0\x18ftypavif\0\0\0\0mif1avif",
}


def polyglots() -> Iterator[Named]:
    """Two kinds at once: one's beginning and another's body, or one hidden in or behind the other."""
    honest_ones = honest()
    for first, signature in SIGNATURES.items():
        for second, data in honest_ones.items():
            if second.split()[-1] != first:
                yield f"{first} that goes on as {second}", signature + data
    hidden = {
        "an archive": b"PK\x03\x04" + bytes(300) + b"PK\x05\x06" + bytes(18),
        "a web page": b"<html><script>fetch('/quay/journal')</script></html>",
        "a gif": b"GIF89a/*" + bytes(40) + b"*/=1;alert(1)//",
        "a program": b"<?php system($_GET[0]); ?>",
        "a pdf": b"%PDF-1.4\n1 0 obj<</Type/Catalog/OpenAction 2 0 R>>endobj",
    }
    for name, body in hidden.items():
        for kind, data in honest_ones.items():
            if " " not in kind:
                yield f"{kind} with {name} behind it", data + body
        yield f"jpeg with {name} in its comment", with_segment(honest_ones["jpeg"], 0xFE, body)
        yield f"png with {name} in its text", with_chunk(honest_ones["png"], b"tEXt", b"Comment\0" + body)


def absurd_sizes() -> Iterator[Named]:
    """Pictures that claim to have no or far too many pixels."""
    sides = (
        (0, 0),
        (0, 64),
        (1, 1),
        (31, 4000),
        (65_535, 65_535),
        (2**31 - 1, 1),
        (2**32 - 1, 2**32 - 1),
        (10_001, 10_000),
    )
    for width, height in sides:
        yield f"png of {width} × {height}", png_of(width, height, zlib.compress(bytes(400)))
        for kind in ("heic", "avif"):
            yield f"{kind} of {width} × {height}", ispe_of(honest()[kind], width, height)
        if max(width, height) < 2**16:
            for kind in ("jpeg", "progressive jpeg"):
                yield f"{kind} of {width} × {height}", sof_of(honest()[kind], width, height)
    for width, height in ((1, 1), (16_383, 16_383), (16_383, 6_000), (9_000, 9_000)):
        yield f"webp of {width} × {height}", vp8_of(honest()["webp"], width, height)
        yield f"lossless webp of {width} × {height}", vp8l_of(honest()["lossless webp"], width, height)
        yield f"webp on a canvas of {width} × {height}", canvas_of(honest()["webp"], width, height)
        yield f"moving webp on a canvas of {width} × {height}", canvas_of(honest()["moving webp"], width, height)
    yield "webp on a canvas of 2²⁴ × 2²⁴", canvas_of(honest()["webp"], 2**24, 2**24)


def bombs() -> Iterator[Named]:
    """Little files that are made to become large, or to take for ever."""
    zeros = zlib.compressobj(9)
    row = bytes(30_001)
    packed = b"".join(zeros.compress(row) for _ in range(10_000)) + zeros.flush()
    yield "a hundred megapixels of zeros", png_of(10_000, 10_000, packed)
    yield "two hundred megapixels of zeros", png_of(20_000, 10_000, packed)
    yield "more picture than was said", png_of(64, 64, packed)
    yield "fifty megapixels, line by line between each other", png_of(8_000, 6_000, packed, interlaced=1)
    bits = zlib.compress(bytes(1251 * 10_000), 9)
    yield "a hundred megapixels in black and white", png_of(10_000, 10_000, bits, depth=1, colour=0)
    text = zlib.compress(bytes(30_000_000), 9)
    png = honest()["png"]
    yield "packed text", with_chunk(png, b"zTXt", b"Comment\0\0" + text)
    yield "packed text in many languages", with_chunk(png, b"iTXt", b"Comment\0\1\0en\0\0" + text)
    yield "a packed profile", with_chunk(png, b"iCCP", b"icc\0\0" + text)
    yield "packed text, forty times", with_chunk(png, b"zTXt", b"Comment\0\0" + zlib.compress(bytes(900_000)), times=80)
    yield "ten thousand texts", with_chunk(png, b"tEXt", b"Comment\0x", times=10_000)
    yield "a text of three megabytes", with_chunk(png, b"tEXt", b"Comment\0" + b"x" * 3_000_000)
    jpeg = honest()["progressive jpeg"]
    scan = jpeg[jpeg.rindex(b"\xff\xda") : -2]
    for count in (100, 3_000, 20_000):
        yield f"{count} scans", jpeg[:-2] + scan * count + b"\xff\xd9"
    yield "60 scans of a large picture", sof_of(jpeg[:-2] + scan * 40 + b"\xff\xd9", 4_000, 3_000)
    yield "forty megabytes behind a jpeg's end", honest()["jpeg"] + bytes(9_000_000)
    yield "filling without end", b"\xff\xd8" + b"\xff" * 2_000_000
    yield "beginnings without end", b"\xff\xd8" * 500_000
    yield "comments without end", with_segment(honest()["jpeg"], 0xFE, b"x" * 60_000, times=60)
    for kind, form, options in (
        ("webp", "WEBP", {"lossless": True, "method": 0}),
        ("webp with losses", "WEBP", {"quality": 1, "method": 0}),
    ):
        file = io.BytesIO()
        Image.new("RGB", (6_000, 6_000)).save(file, form, **options)
        yield f"36 megapixels of nothing as {kind}", file.getvalue()


def profiles() -> Iterator[Named]:
    """Colour profiles that are none, too long, or go in circles."""
    chance = random.Random(SEED + 1)
    head = struct.pack(">L4sL4s4s4s", 128, b"lcms", 0x04400000, b"mntr", b"RGB ", b"XYZ ") + bytes(12) + b"acsp"
    head = head.ljust(128, b"\0")
    tags = b"".join(
        struct.pack(">4sLL", name, 132, 0xFFFFFFF0) for name in (b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"A2B0")
    )
    loop = b"".join(struct.pack(">4sLL", b"%4d" % n, 128, 64) for n in range(100))
    made = {
        "nothing": b"",
        "one byte": b"x",
        "noise": chance.randbytes(3_000),
        "only a head": head,
        "2³² tags": head + b"\xff\xff\xff\xff" + bytes(100),
        "tags far behind its end": head + struct.pack(">L", 5) + tags,
        "a hundred tags in one place": head + struct.pack(">L", 100) + loop,
        "a head of noise": head[:36] + b"acsp" + chance.randbytes(2_000),
        "colours of paper": head.replace(b"RGB ", b"CMYK") + bytes(400),
        "fifteen colours": head.replace(b"RGB ", b"FCLR") + bytes(400),
        "a device link": head.replace(b"mntr", b"link") + bytes(400),
        "half a megabyte": head + chance.randbytes(500_000),
    }
    for name, profile in made.items():
        yield f"jpeg, {name}", with_profile(honest()["jpeg"], profile)
        yield f"png, {name}", with_chunk(honest()["png"], b"iCCP", b"icc\0\0" + zlib.compress(profile))
    yield "pieces that are missing", with_segment(honest()["jpeg"], 0xE2, b"ICC_PROFILE\0\1\7" + head)
    yield "pieces 0 of 0", with_segment(honest()["jpeg"], 0xE2, b"ICC_PROFILE\0\0\0" + head)


def exifs() -> Iterator[Named]:
    """EXIF whose directories go in circles, for ever down, or beyond the end."""

    def directory(*entries: bytes, after: int = 0, count: int | None = None) -> bytes:
        return (
            struct.pack("<H", len(entries) if count is None else count) + b"".join(entries) + struct.pack("<L", after)
        )

    def entry(tag: int, form: int, count: int, value: int) -> bytes:
        return struct.pack("<HHLL", tag, form, count, value)

    tiff = b"II*\0\x08\0\0\0"
    deep = b"".join(directory(entry(0x8769, 4, 1, 8 + 18 * n)) for n in range(1, 2_000))
    made = {
        "in a circle": tiff + directory(entry(0x0112, 3, 1, 6), after=8),
        "its own child": tiff + directory(entry(0x8769, 4, 1, 8), entry(0x8825, 4, 1, 8)),
        "two thousand deep": tiff + deep,
        "65535 entries": tiff + directory(entry(0x0112, 3, 1, 6), count=65_535),
        "far behind its end": b"II*\0" + struct.pack("<L", 0xFFFFFFF0),
        "orientation 99": tiff + directory(entry(0x0112, 3, 1, 99)),
        "orientation as text": tiff + directory(entry(0x0112, 2, 0xFFFFFFFF, 0xFFFFFFFF)),
        "orientation of no kind": tiff + directory(entry(0x0112, 77, 1, 6)),
        "a resolution by zero": tiff + directory(entry(0x011A, 5, 1, 26), entry(0x0128, 3, 1, 2)) + bytes(8),
        "a thumbnail behind its end": tiff + directory(entry(0x0201, 4, 1, 0xFFFFFF), entry(0x0202, 4, 1, 0xFFFFFF)),
        "a count of 2³²": tiff + directory(*(entry(0x9286, 7, 0xFFFFFFFF, 0) for _ in range(20))),
        "both ways round": b"MM*\0\x08\0\0\0" + bytes(40),
        "noise": random.Random(SEED + 2).randbytes(2_000),
        "nothing": b"",
    }
    for name, block in made.items():
        block = block[:65_000]
        yield f"jpeg, {name}", with_segment(honest()["jpeg"], 0xE1, b"Exif\0\0" + block)
        yield f"png, {name}", with_chunk(honest()["png"], b"eXIf", block)
        yield f"webp, {name}", with_riff_chunk(honest()["webp"], b"EXIF", block)


def jpegs() -> Iterator[Named]:
    """JPEGs that break the rules of T.81."""
    jpeg = honest()["jpeg"]
    begins = {
        name: jpeg.index(bytes([0xFF, mark]))
        for name, mark in (("SOF", 0xC0), ("DHT", 0xC4), ("DQT", 0xDB), ("SOS", 0xDA))
    }
    for name, at in begins.items():
        length = 2 + struct.unpack_from(">H", jpeg, at + 2)[0]
        yield f"without {name}", jpeg[:at] + jpeg[at + length :]
        yield f"with {name} fifty times", jpeg[:at] + jpeg[at : at + length] * 50 + jpeg[at + length :]
        yield f"with {name} of noise", jpeg[: at + 4] + random.Random(at).randbytes(length - 4) + jpeg[at + length :]
    for kind in (0xC1, 0xC2, 0xC3, 0xC5, 0xC7, 0xC9, 0xCA, 0xCB, 0xCF):
        yield f"drawn as {kind:X}", jpeg[: begins["SOF"] + 1] + bytes([kind]) + jpeg[begins["SOF"] + 2 :]
    lies = {
        "12 bits": (4, 12),
        "no bits": (4, 0),
        "no colours": (9, 0),
        "five colours": (9, 5),
        "255 colours": (9, 255),
        "sampled 15 × 15": (11, 0xFF),
        "sampled 0 × 0": (11, 0),
        "a table that is not there": (12, 9),
    }
    for name, (place, value) in lies.items():
        changed = bytearray(jpeg)
        changed[begins["SOF"] + place] = value
        yield name, bytes(changed)
    yield "its height later", with_segment(sof_of(jpeg, 192, 0), 0xDC, b"\0\x90")
    yield "a restart after each block", with_segment(jpeg, 0xDD, b"\0\1")
    yield "two beginnings", b"\xff\xd8" + jpeg
    yield "nothing but ends", b"\xff\xd8\xff" + b"\xff\xd9" * 1000
    yield "a second picture that is not there", with_segment(jpeg, 0xE2, b"MPF\0II*\0\x08\0\0\0" + b"\xff" * 60)
    yield "printer's colours of nothing", with_segment(jpeg, 0xEE, b"Adobe\0\x64\0\0\0\0\x09")


def pngs() -> Iterator[Named]:
    """PNGs that break the rules of its specification."""
    good = zlib.compress(bytes(193 * 64))
    for depth in (0, 3, 16, 99):
        for colour in (2, 3, 5, 7):
            yield f"{depth} bits of colour {colour}", png_of(64, 64, good, depth=depth, colour=colour)
    for interlaced in (1, 9):
        yield f"interlaced {interlaced}", png_of(64, 64, good, interlaced=interlaced)
    png = honest()["png"]
    header, body = png[8:33], png[33:]
    yield "without header", PNG + body
    yield "two headers", PNG + header + header + body
    yield "another header behind", PNG + header + chunk(b"IHDR", struct.pack(">2L5B", 9000, 9000, 8, 6, 0, 0, 0)) + body
    yield "the end first", PNG + chunk(b"IEND", b"") + header + body
    yield "no picture", PNG + header + chunk(b"IEND", b"")
    yield "no end", png[:-12]
    yield "a thousand empty pieces", PNG + header + chunk(b"IDAT", b"") * 1000 + body
    yield "wrong sums", bytes(byte if n % 50 else byte ^ 1 for n, byte in enumerate(png))
    yield "no filter of that kind", png_of(64, 64, zlib.compress((b"\x63" + bytes(192)) * 64))
    yield "noise for a picture", png_of(64, 64, random.Random(3).randbytes(3000))
    yield (
        "a palette that is too long",
        with_chunk(png_of(64, 64, zlib.compress(bytes(65 * 64)), colour=3), b"PLTE", bytes(3 * 400)),
    )
    yield "a palette that is not there", png_of(64, 64, zlib.compress(b"\0" + b"\xff" * 64) * 2, colour=3)
    yield "2³² moving pictures", with_chunk(png, b"acTL", struct.pack(">2L", 2**32 - 1, 0))
    outside = struct.pack(">5L2H2B", 0, 999, 999, 999, 999, 1, 1, 0, 0)
    moving = with_chunk(with_chunk(png, b"fcTL", outside), b"acTL", struct.pack(">2L", 1, 0))
    yield "a moving picture outside", moving
    yield "unknown parts", with_chunk(png, b"ABCD", bytes(100))
    yield "see-through of noise", with_chunk(png, b"tRNS", bytes(99))


def boxes() -> Iterator[Named]:
    """HEIC and AVIF whose boxes lie, nest or multiply."""
    for kind in ("heic", "avif"):
        data = honest()[kind]
        start = data[: struct.unpack_from(">L", data)[0]]
        nested = b""
        for _ in range(2_000):
            nested = struct.pack(">L4sL", len(nested) + 12, b"meta", 0) + nested
        yield f"{kind}, two thousand boxes in each other", start + nested
        yield f"{kind}, many empty boxes", start + struct.pack(">L4s", 8, b"free") * 50_000 + data[len(start) :]
        yield f"{kind}, only its kind", start
        for length in (1, 7, 2**31):
            yield f"{kind}, a box of {length}", start + struct.pack(">L4s", length, b"meta") + data[len(start) + 8 :]
        yield f"{kind}, a box of 2⁶³", start + struct.pack(">L4sQ", 1, b"meta", 2**63) + data[len(start) + 8 :]
        for part in (b"iloc", b"iinf", b"ipma", b"ispe", b"pitm", b"hdlr", b"hvcC", b"av1C", b"colr", b"iref"):
            at = data.find(part)
            if at < 0:
                continue
            yield f"{kind}, no {part.decode()}", data.replace(part, b"free")
            yield f"{kind}, {part.decode()} of ones", data[: at + 8] + b"\xff" * 12 + data[at + 20 :]
            yield f"{kind}, {part.decode()} of zeros", data[: at + 8] + bytes(12) + data[at + 20 :]
        yield f"{kind}, a grid of itself", data.replace(b"hvc1", b"grid").replace(b"av01", b"grid")
        yield f"{kind}, laid over itself", data.replace(b"hvc1", b"iovl").replace(b"av01", b"iovl")
        yield f"{kind}, by reference to itself", data.replace(b"hvc1", b"iden").replace(b"av01", b"iden")
        at = data.find(b"mdat") + 4
        yield f"{kind}, a picture of noise", data[:at] + random.Random(5).randbytes(len(data) - at)
        yield f"{kind}, a picture of zeros", data[:at] + bytes(len(data) - at)


def riffs() -> Iterator[Named]:
    """WebPs that break the rules of its container."""
    for kind in ("webp", "lossless webp", "moving webp"):
        data = honest()[kind]
        for size in HUGE:
            yield f"{kind} says {size}", data[:4] + struct.pack("<L", size) + data[8:]
        yield (
            f"{kind} without its picture",
            data.replace(b"VP8 ", b"XXXX").replace(b"VP8L", b"XXXX").replace(b"ANMF", b"XXXX"),
        )
        yield f"{kind}, all flags", data[:20] + b"\xff" + data[21:]
        yield f"{kind}, twice", data + data
        yield f"{kind}, ten thousand unknown parts", data[:12] + b"ABCD\0\0\0\0" * 10_000 + data[12:]
    yield "nothing in it", b"RIFF\x04\0\0\0WEBP"
    yield (
        "no pictures to move",
        canvas_of(b"RIFF\x1e\0\0\0WEBPVP8X\x0a\0\0\0\x02" + bytes(9), 64, 64) + b"ANIM\x06\0\0\0" + bytes(6),
    )


# Tools of the trade


def chunk(name: bytes, content: bytes) -> bytes:
    """A chunk of a PNG."""
    return struct.pack(">L", len(content)) + name + content + struct.pack(">L", zlib.crc32(name + content))


def png_of(width: int, height: int, packed: bytes, depth: int = 8, colour: int = 2, interlaced: int = 0) -> bytes:
    """A PNG with that header around `packed`."""
    header = struct.pack(">2L5B", width, height, depth, colour, 0, 0, interlaced)
    return PNG + chunk(b"IHDR", header) + chunk(b"IDAT", packed) + chunk(b"IEND", b"")


def with_chunk(png: bytes, name: bytes, content: bytes, times: int = 1) -> bytes:
    """`png` with one more chunk, or more of the same, right behind its header."""
    return png[:33] + chunk(name, content) * times + png[33:]


def with_segment(jpeg: bytes, mark: int, content: bytes, times: int = 1) -> bytes:
    """`jpeg` with one more segment, or more of the same, right behind its beginning."""
    content = content[:65_533]
    return jpeg[:2] + (bytes([0xFF, mark]) + struct.pack(">H", len(content) + 2) + content) * times + jpeg[2:]


def with_profile(jpeg: bytes, profile: bytes) -> bytes:
    """`jpeg` with a colour profile in as many segments as it needs (ICC.1:2001-04, annex B.4)."""
    pieces = [profile[at : at + 60_000] for at in range(0, max(1, len(profile)), 60_000)]
    for number, piece in reversed(list(enumerate(pieces, 1))):
        jpeg = with_segment(jpeg, 0xE2, b"ICC_PROFILE\0" + bytes([number, len(pieces)]) + piece)
    return jpeg


def with_riff_chunk(webp: bytes, name: bytes, content: bytes) -> bytes:
    """`webp` with that chunk in place of its own of that name."""
    at = webp.find(name)
    rest = webp[:at] if at > 0 else webp
    rest += name + struct.pack("<L", len(content)) + content + bytes(len(content) % 2)
    return rest[:4] + struct.pack("<L", len(rest) - 8) + rest[8:]


def sof_of(jpeg: bytes, width: int, height: int) -> bytes:
    """`jpeg` that says it has other sides."""
    changed = bytearray(jpeg)
    at = next(changed.index(mark) for mark in (b"\xff\xc0", b"\xff\xc2") if mark in changed)
    struct.pack_into(">HH", changed, at + 5, height, width)
    return bytes(changed)


def ispe_of(data: bytes, width: int, height: int) -> bytes:
    """HEIC or AVIF that says it has other sides."""
    changed = bytearray(data)
    at = changed.find(b"ispe")
    while at >= 0:
        struct.pack_into(">LL", changed, at + 8, width, height)
        at = changed.find(b"ispe", at + 4)
    return bytes(changed)


def vp8_of(webp: bytes, width: int, height: int) -> bytes:
    """A WebP with losses whose picture says it has other sides."""
    changed = bytearray(webp)
    struct.pack_into("<HH", changed, changed.index(b"\x9d\x01\x2a") + 3, width, height)
    return bytes(changed)


def vp8l_of(webp: bytes, width: int, height: int) -> bytes:
    """A lossless WebP whose picture says it has other sides."""
    changed = bytearray(webp)
    struct.pack_into("<L", changed, changed.index(b"VP8L") + 9, (width - 1) | (height - 1) << 14)
    return bytes(changed)


def canvas_of(webp: bytes, width: int, height: int) -> bytes:
    """An extended WebP with another canvas."""
    changed = bytearray(webp)
    at = changed.index(b"VP8X") + 12
    changed[at : at + 6] = struct.pack("<L", width - 1)[:3] + struct.pack("<L", height - 1)[:3]
    return bytes(changed)
