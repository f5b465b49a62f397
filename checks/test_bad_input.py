"""Bad input: each gets one clear sentence with the file and what to do, and the others still get their answer.

Sources: the formats themselves (PNG 3rd edition, ISO/IEC 10918-1, DICOM PS3.10); the pictures are made in makers.py; the
photographs come out of the scikit-image wheel, the truncated and odd DICOM files out of pydicom's test files (MIT).
"""

from __future__ import annotations

import io
import os
import pathlib
import resource
import subprocess

import pydicom.data
import pytest
from PIL import Image

import makers
from house import BINARY, serrata

#: Files that cannot be read: name -> (bytes, the code that scripts see).
UNREADABLE = {
    "empty.jpg": (lambda: b"", {"empty"}),
    "text.jpg": (lambda: b"Dear colleague, the picture is attached.\n" * 9, {"unsupported"}),
    "truncated.jpg": (lambda: makers.jpeg(makers.retina(700))[:40_000], {"truncated"}),
    "truncated_after_header.jpg": (lambda: makers.jpeg(makers.retina(700))[:300], {"truncated", "broken"}),
    "truncated.png": (lambda: makers.png(makers.retina(700))[:200_000], {"truncated", "broken"}),
    "truncated_progressive.jpg": (lambda: makers.jpeg(makers.retina(700), progressive=True)[:30_000], {"truncated"}),
    "header_30k.png": (lambda: makers.png_chunks(30_000, 30_000, 8, 2, b"\x78\x9c\x03\x00\x00\x00\x00\x01"), {"too_large"}),
    "header_30k.jpg": (lambda: jpeg_that_claims(30_000, 30_000), {"too_large"}),
    "bomb.png": (lambda: makers.decompression_bomb(20_000, 20_000), {"too_large"}),
    "animated.png": (lambda: animated("PNG"), {"several_pictures"}),
    "animated.gif": (lambda: animated("GIF"), {"unsupported", "several_pictures"}),
    "pages.tif": (lambda: animated("TIFF"), {"several_pictures"}),
    "no_pixels.dcm": (lambda: part10(makers.dicom(makers.disc(64), pixels=False)), {"no_pixels"}),
    "private_syntax.dcm": (lambda: private_syntax(), {"unsupported"}),
    "cut.dcm": (lambda: part10(makers.dicom(makers.retina(300)))[:100_000], {"truncated", "broken"}),
    "only_preamble.dcm": (lambda: bytes(128) + b"DICM", {"truncated", "broken"}),
    "more_pixels_than_file.dcm": (lambda: claims_more_pixels(), {"truncated", "broken"}),
    "not_found.jpg": (None, {"not_found"}),
}

#: Pictures that can be read but show no retina.
NO_RETINA = {
    "grey_card.png": lambda: makers.png(Image.new("RGB", (900, 900), (128, 128, 128))),
    "noise.png": lambda: makers.png(makers.noise()),
    "noise_large.jpg": lambda: makers.jpeg(makers.noise(2000, 8)),
    "disc.png": lambda: makers.png(makers.disc()),
    "black.png": lambda: makers.png(Image.new("RGB", (1200, 900))),
    "white.png": lambda: makers.png(Image.new("L", (1200, 900), 255)),
    "person.jpg": lambda: makers.jpeg(makers.photograph("astronaut.png")),
    "cup.jpg": lambda: makers.jpeg(makers.photograph("coffee.png")),
    "cat.jpg": lambda: makers.jpeg(makers.photograph("chelsea.png")),
    "rocket.jpg": lambda: (makers.RETINA.parent / "rocket.jpg").read_bytes(),
    "galaxies.jpg": lambda: (makers.RETINA.parent / "hubble_deep_field.jpg").read_bytes(),
    "tissue.png": lambda: makers.png(makers.photograph("ihc.png")),
    "page.png": lambda: (makers.RETINA.parent / "page.png").read_bytes(),
    "moon.png": lambda: (makers.RETINA.parent / "moon.png").read_bytes(),
    "grass.png": lambda: (makers.RETINA.parent / "grass.png").read_bytes(),
    "one_pixel.png": lambda: makers.png(Image.new("RGB", (1, 1), (200, 80, 60))),
    "one_line.png": lambda: makers.png(Image.new("RGB", (2000, 1), (200, 80, 60))),
}

#: Odd but good files around the same real retina.
ODD = {
    "plain.jpg": lambda: makers.jpeg(makers.retina()),
    "progressive.jpg": lambda: makers.jpeg(makers.retina(), progressive=True),
    "wrong_extension.dcm": lambda: makers.jpeg(makers.retina()),
    "turned.jpg": lambda: exif_turned(),
    "cmyk.jpg": lambda: makers.jpeg(makers.retina().convert("CMYK")),
    "deep.png": lambda: makers.sixteen_bit_png(makers.retina()),
    "plain.png": lambda: makers.png(makers.retina()),
    "japanese.dcm": lambda: part10(japanese()),
}


def part10(dataset) -> bytes:
    out = io.BytesIO()
    dataset.save_as(out, enforce_file_format=True)
    return out.getvalue()


def jpeg_that_claims(width: int, height: int) -> bytes:
    """A small JPEG whose frame header says another size."""
    data = bytearray(makers.jpeg(Image.new("RGB", (64, 64), (90, 40, 20))))
    at = data.index(b"\xff\xc0")  # SOF0: length 2, precision 1, height 2, width 2
    data[at + 5 : at + 9] = height.to_bytes(2, "big") + width.to_bytes(2, "big")
    return bytes(data)


def animated(kind: str) -> bytes:
    out = io.BytesIO()
    frames = [makers.retina(300), makers.retina(300).rotate(5)]
    frames[0].save(out, kind, save_all=True, append_images=frames[1:])
    return out.getvalue()


def private_syntax() -> bytes:
    """An object whose transfer syntax nobody but its maker knows (UID root of the DICOM examples)."""
    d = makers.dicom(makers.disc(64))
    data = part10(d)
    known, unknown = b"1.2.840.10008.1.2.1\0", b"1.2.999.10008.1.2.1\0"
    assert data.count(known) == 1
    return data.replace(known, unknown)


def claims_more_pixels() -> bytes:
    d = makers.dicom(makers.disc(64))
    d.Rows = d.Columns = 4000
    return part10(d)


def exif_turned() -> bytes:
    """Stored lying on its side, with the note (EXIF orientation 6) that it be turned 90° clockwise to be shown."""
    exif = Image.Exif()
    exif[0x0112] = 6
    return makers.jpeg(makers.retina().rotate(90, expand=True), exif=exif)


def japanese():
    """A Japanese name in the three writings of DICOM PS3.5 annex H, here an invented person."""
    return makers.dicom(
        makers.retina(), charset=["", "ISO 2022 IR 87"], name="Midori^Hanako=緑^花子=みどり^はなこ", patient_id="H-77"
    )


@pytest.fixture(scope="module")
def answer(tmp_path_factory: pytest.TempPathFactory):
    """All of them in one run, from the start of one process."""
    at = tmp_path_factory.mktemp("bad")
    files = []
    for name, (make, _) in UNREADABLE.items():
        files.append(at / name)
        if make:
            files[-1].write_bytes(make())
    for name, make in {**NO_RETINA, **ODD}.items():
        files.append(at / name)
        files[-1].write_bytes(make())
    answer = serrata("appraise", *files, "--json", "--jobs", 2)
    assert [line["path"] for line in answer.lines] == [str(f) for f in files], "every input once, in order"
    return answer


def test_the_run_as_a_whole_says_that_some_input_failed(answer):
    assert answer.code == 1
    assert "panick" not in answer.err and "overflow" not in answer.err


@pytest.mark.parametrize("name", UNREADABLE)
def test_what_cannot_be_read_is_told_in_one_sentence_with_a_remedy(answer, name):
    line = answer.by_name()[name]
    assert line["schema"] == "serrata.error/1", f"{name} was answered: {line.get('verdict')}"
    assert line["code"] in UNREADABLE[name][1]
    assert line["message"] and line["remedy"]
    told = [t for t in answer.err.splitlines() if line["path"] in t]
    assert len(told) == 1, "one sentence on standard error"
    assert line["remedy"].rstrip(".") in told[0]


@pytest.mark.parametrize("name", NO_RETINA)
def test_what_is_no_retina_is_not_usable_and_says_so(answer, name):
    line = answer.by_name()[name]
    if line["schema"] == "serrata.error/1":
        assert name.startswith("one_"), "only a picture too small to hold anything may be refused"
        return
    assert line["verdict"] == "not_usable"
    assert "no_retina" in [f["kind"] for f in line["findings"]]
    assert any("retina" in r["text"].lower() for r in line["reasons"]), line["reasons"]


@pytest.mark.parametrize("name", ODD)
def test_odd_but_good_files_get_the_answer_of_the_plain_one(answer, name):
    plain, line = answer.by_name()["plain.jpg"], answer.by_name()[name]
    assert line["schema"] == "serrata.appraisal/1", line
    assert (line["width"], line["height"]) == (1411, 1411)
    assert line["verdict"] == plain["verdict"]
    assert line["eye"]["inferred"] == plain["eye"]["inferred"]
    assert line["visible_retina"]["fraction"] == pytest.approx(plain["visible_retina"]["fraction"], abs=0.02)


def test_a_progressive_copy_gives_the_same_outlines_as_the_baseline_one(answer):
    """Both store the same coefficients, so the pixels and all that follows are the same."""
    plain, progressive = (answer.by_name()[n] for n in ("plain.jpg", "progressive.jpg"))
    same = ("visible_retina", "findings", "disc", "fovea", "sharpness", "eye")
    assert {k: plain[k] for k in same} == {k: progressive[k] for k in same}


def test_no_name_and_no_number_of_a_patient_is_printed(answer):
    everything = answer.out + answer.err
    assert not any(word in everything for word in ("Midori", "Hanako", "緑", "Probe^", "H-77"))


def test_a_huge_header_takes_no_memory(tmp_path):
    """Peak memory of the process stays under 256 MiB for pictures that claim 0.9 and 0.4 gigapixels."""
    files = []
    for name in ("header_30k.png", "header_30k.jpg", "bomb.png"):
        files.append(tmp_path / name)
        files[-1].write_bytes(UNREADABLE[name][0]())
    watcher = (
        "import resource, subprocess, sys; subprocess.run(sys.argv[1:], capture_output=True);"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    done = subprocess.run(
        [os.sys.executable, "-c", watcher, str(BINARY), "appraise", *map(str, files)], capture_output=True, text=True, check=True
    )
    assert int(done.stdout) < 256 * 1024


def test_broken_and_odd_dicom_files_of_pydicom_are_answered_one_by_one(tmp_path):
    """pydicom's own test files: every one is an appraisal or a clear error, none a crash, none usable."""
    names = [
        "MR_truncated.dcm", "rtplan.dcm", "rtdose.dcm", "CT_small.dcm", "MR_small.dcm", "no_ts.dcm", "image_dfl.dcm",
        "JPEG2000.dcm", "JPEG-lossy.dcm", "chrH31.dcm", "chrX1.dcm", "reportsi.dcm", "test-SR.dcm", "badVR.dcm",
        "nested_priv_SQ.dcm", "ExplVR_BigEnd.dcm", "SC_rgb_rle.dcm", "liver_1frame.dcm", "meta_missing_tsyntax.dcm",
    ]  # fmt: skip
    files = [pathlib.Path(f) for name in names if (f := pydicom.data.get_testdata_file(name, download=False))]
    assert len(files) >= 15, "pydicom's wheel ships these"
    answer = serrata("appraise", *files, "--json")
    assert "panick" not in answer.err
    seen = {line["path"] for line in answer.lines}
    assert seen == {str(f) for f in files}
    for line in answer.lines:
        assert line["schema"] == "serrata.error/1" or line["verdict"] != "usable", line["path"]


def limited(**limits: int):
    """A function for subprocess that sets limits and lets writes beyond them fail instead of killing the process."""

    def set_limits() -> None:
        import signal

        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        for name, value in limits.items():
            resource.setrlimit(getattr(resource, name), (value, value))

    return set_limits


def test_an_overlay_that_does_not_fit_on_the_disk_fails_in_one_sentence_and_leaves_nothing_half_written(tmp_path):
    out = tmp_path / "overlays"
    done = subprocess.run(
        [str(BINARY), "appraise", str(makers.RETINA), "--json", "--overlay", str(out)],
        capture_output=True, text=True, check=False, preexec_fn=limited(RLIMIT_FSIZE=4096),
    )  # fmt: skip
    assert done.returncode == 1
    assert str(out) in done.stderr and len(done.stderr.strip().splitlines()) == 1
    assert not out.exists() or list(out.iterdir()) == []


def test_a_folder_and_a_file_that_may_not_be_read_are_named_and_the_rest_is_answered(open_folder):
    """Run as another user where we are root, for root may read everything."""
    binary = open_folder / "serrata"
    binary.write_bytes(BINARY.read_bytes())
    binary.chmod(0o755)
    pictures = open_folder / "pictures"
    (pictures / "closed").mkdir(parents=True)
    (pictures / "retina.jpg").write_bytes(makers.RETINA.read_bytes())
    (pictures / "secret.jpg").write_bytes(makers.RETINA.read_bytes())
    (pictures / "secret.jpg").chmod(0)
    (pictures / "closed").chmod(0)
    other = {"user": 65534, "group": 65534} if os.geteuid() == 0 else {}
    done = subprocess.run(
        [str(binary), "appraise", str(pictures), "--json"], capture_output=True, text=True, check=False, cwd="/", **other
    )
    (pictures / "closed").chmod(0o700)
    assert done.returncode == 1
    assert done.stdout.count('"serrata.appraisal/1"') == 1 and done.stdout.count('"serrata.error/1"') == 2
    for name in ("closed", "secret.jpg"):
        assert sum(name in sentence for sentence in done.stderr.splitlines()) == 1
