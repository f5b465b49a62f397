"""Pictures and DICOM objects for the outside checks, good and bad, made afresh in every run.

The real retina among them is `skimage/data/retina.jpg` of the scikit-image wheel (CC0, a left eye, 1411 × 1411).
Names of people are invented.
"""

from __future__ import annotations

import functools
import io
import pathlib
import struct
import zlib

import numpy as np
import pydicom
import skimage
from PIL import Image
from pydicom.dataset import FileDataset, FileMetaDataset
from pydicom.uid import ExplicitVRLittleEndian, JPEGBaseline8Bit, generate_uid

RETINA = pathlib.Path(skimage.__file__).parent / "data" / "retina.jpg"
PHOTOGRAPH_OP8 = "1.2.840.10008.5.1.4.1.1.77.1.5.1"  # Ophthalmic Photography 8 Bit Image Storage, DICOM PS3.4 B.5
WIDE_FIELD_STEREOGRAPHIC = "1.2.840.10008.5.1.4.1.1.77.1.5.5"
VL_PHOTOGRAPHIC = "1.2.840.10008.5.1.4.1.1.77.1.4"
SECONDARY_CAPTURE = "1.2.840.10008.5.1.4.1.1.7"
RAW_DATA = "1.2.840.10008.5.1.4.1.1.66"


@functools.cache
def retina(side: int = 1411) -> Image.Image:
    """The real retina, scaled to `side` pixels."""
    picture = Image.open(RETINA).convert("RGB")
    return picture if side == 1411 else picture.resize((side, side), Image.Resampling.LANCZOS)


def jpeg(picture: Image.Image, **options: object) -> bytes:
    """A JPEG file's bytes."""
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=92, **options)
    return out.getvalue()


def png(picture: Image.Image, **options: object) -> bytes:
    """A PNG file's bytes."""
    out = io.BytesIO()
    picture.save(out, "PNG", **options)
    return out.getvalue()


def png_chunks(width: int, height: int, depth: int, colour: int, data: bytes) -> bytes:
    """A PNG of any header around any compressed data, valid by its checksums."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def decompression_bomb(width: int, height: int) -> bytes:
    """A valid grey PNG that unpacks to width × height zeros from a few hundred kilobytes."""
    press = zlib.compressobj(9)
    row = bytes(width + 1)
    data = b"".join(press.compress(row) for _ in range(height)) + press.flush()
    return png_chunks(width, height, 8, 0, data)


def sixteen_bit_png(picture: Image.Image) -> bytes:
    """The same picture in 16 bits a channel (65535/255 = 257), which Pillow cannot write for RGB."""
    pixels = np.asarray(picture, dtype=np.uint16) * 257
    height, width, _ = pixels.shape
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in pixels)
    return png_chunks(width, height, 16, 2, zlib.compress(rows, 6))


def disc(side: int = 900) -> Image.Image:
    """A plain light disc on black: round as an aperture, but no retina."""
    y, x = np.mgrid[:side, :side] - side / 2 + 0.5
    return Image.fromarray(np.where(np.hypot(x, y) < side * 0.45, 150, 0).astype(np.uint8)).convert("RGB")


def noise(side: int = 900, seed: int = 5) -> Image.Image:
    """Coloured noise."""
    return Image.fromarray(np.random.default_rng(seed).integers(0, 256, (side, side, 3), dtype=np.uint8))


def photograph(name: str) -> Image.Image:
    """A photograph of something else, out of the scikit-image wheel."""
    return Image.open(RETINA.parent / name).convert("RGB")


def dicom(
    picture: Image.Image,
    *,
    patient_id: str = "H-1001",
    name: str = "Probe^Ada",
    study: str | None = None,
    kind: str = PHOTOGRAPH_OP8,
    eye: str | None = None,
    compressed: bool = False,
    charset: str = "ISO_IR 192",
    pixels: bool = True,
) -> FileDataset:
    """A DICOM object around a picture. Each call is a new instance."""
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID = kind
    meta.MediaStorageSOPInstanceUID = generate_uid()
    meta.TransferSyntaxUID = JPEGBaseline8Bit if compressed else ExplicitVRLittleEndian
    d = FileDataset(None, {}, file_meta=meta, preamble=bytes(128))
    d.SpecificCharacterSet = charset
    d.SOPClassUID, d.SOPInstanceUID = kind, meta.MediaStorageSOPInstanceUID
    d.StudyInstanceUID, d.SeriesInstanceUID = study or generate_uid(), generate_uid()
    d.PatientName, d.PatientID, d.PatientBirthDate, d.PatientSex = name, patient_id, "19610307", "O"
    d.Modality = "OP"
    d.Manufacturer, d.ManufacturerModelName = "Invented", "Probe"
    d.StudyDate = d.ContentDate = "20260302"
    d.StudyTime = d.ContentTime = "091500"
    d.AcquisitionDateTime = "20260302091500+0000"
    d.InstanceNumber = 1
    if eye:
        d.ImageLaterality = eye
    if pixels:
        grey = picture.mode == "L"
        d.Rows, d.Columns = picture.height, picture.width
        d.SamplesPerPixel = 1 if grey else 3
        d.PhotometricInterpretation = "MONOCHROME2" if grey else ("YBR_FULL_422" if compressed else "RGB")
        if not grey:
            d.PlanarConfiguration = 0
        d.BitsAllocated, d.BitsStored, d.HighBit, d.PixelRepresentation = 8, 8, 7, 0
        if compressed:
            d.PixelData = pydicom.encaps.encapsulate([jpeg(picture)])
        else:
            raw = np.asarray(picture).tobytes()
            d.PixelData = raw + bytes(len(raw) % 2)
    return d


def save(dataset: FileDataset, path: pathlib.Path) -> pathlib.Path:
    """Writes a Part 10 file."""
    dataset.save_as(path, enforce_file_format=True)
    return path


def objects(folder: pathlib.Path, count: int, side: int = 160) -> dict[str, pathlib.Path]:
    """`count` small objects of different pixels and a few studies: file by SOP Instance UID."""
    folder.mkdir(parents=True, exist_ok=True)
    base = np.asarray(retina(side)).astype(np.int16)
    studies = [generate_uid() for _ in range(5)]
    made = {}
    for i in range(count):
        pixels = np.clip(base + (i % 41) - 20, 0, 255).astype(np.uint8)
        pixels[0, 0] = (i & 255, i >> 8, 7)  # every file differs
        d = dicom(Image.fromarray(pixels), study=studies[i % 5], patient_id=f"H-{i % 5}", name=f"Probe^P{i % 5}")
        made[str(d.SOPInstanceUID)] = save(d, folder / f"{i:04}.dcm")
    return made
