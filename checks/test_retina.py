"""The one real retina that every machine has: `skimage/data/retina.jpg`.

Source: scikit-image 0.26.0 wheel, CC0; its data page says it is a left eye. Held: eye side left or abstained, its mirror
image right or abstained, and nothing that makes a sharp, well-lit narrow-field picture unusable as a picture.
"""

from __future__ import annotations

import json

from PIL import ImageOps

import makers
from house import ROOT, serrata

#: Centre of the optic disc, read by eye in the picture, in pixels; its radius is about 97.
DISC = (222, 645)


def test_the_real_left_eye_is_called_left_or_not_sure_and_its_mirror_image_never_left(tmp_path):
    mirror = tmp_path / "mirror.png"
    mirror.write_bytes(makers.png(ImageOps.mirror(makers.retina())))
    straight, mirrored = serrata("appraise", makers.RETINA, mirror, "--json").lines
    assert straight["eye"]["inferred"] in ("L", None)
    assert mirrored["eye"]["inferred"] in ("R", None)


def test_the_real_eye_is_seen_as_a_retina(tmp_path):
    line = serrata("appraise", makers.RETINA, "--json").lines[0]
    kinds = {f["kind"]: f["score"] for f in line["findings"]}
    assert kinds.get("no_retina", 0) < 0.5
    assert line["modality"] == "colour"
    if line["disc"] and line["disc"]["probability"] >= 0.5:
        assert abs(line["disc"]["x"] - DISC[0]) < 97 and abs(line["disc"]["y"] - DISC[1]) < 97


def test_the_vessels_of_the_real_eye_are_lines_that_lead_to_its_disc(tmp_path):
    done = serrata("appraise", makers.RETINA, "--vessels", tmp_path / "vessels", "--json")
    found = json.loads((tmp_path / "vessels" / "retina.json").read_text())
    assert found["schema"] == "serrata.vessels/1" and (tmp_path / "vessels" / "retina.png").exists()
    assert (found["width"], found["height"]) == (done.lines[0]["width"], done.lines[0]["height"])
    kinds = [n["kind"] for n in found["nodes"]]
    assert len(found["lines"]) > 20 and kinds.count("branching") > 10
    for node in found["nodes"]:
        # Every line that a node names has one of its ends there.
        for number in node["lines"]:
            line = found["lines"][number]["points"]
            assert min(abs(p[0] - node["x"]) + abs(p[1] - node["y"]) for p in (line[0], line[-1])) < 1, node
    near = [w for line in found["lines"] if (w := line["width_px"]) and any((p[0] - DISC[0]) ** 2 + (p[1] - DISC[1]) ** 2 < 250**2 for p in line["points"])]
    every = [line["width_px"] for line in found["lines"] if line["width_px"]]
    assert sorted(near)[len(near) // 2] >= sorted(every)[len(every) // 2], "the widest vessels are at the disc"


def test_a_gaze_is_told_back_from_disc_and_fovea(tmp_path):
    profile = tmp_path / "profile.toml"
    text = (ROOT / "instruments" / "demo-wide.toml").read_text()
    profile.write_text(text.replace('"demo-wide"', '"demo-wide-1200"').replace("3600", "1200").replace("0.074", "0.222"))
    for seed, gaze in ((72_903, "primary"), (72_905, "up"), (72_907, "left")):
        truth = serrata("phantom", "frame", "--seed", seed, "--gaze", gaze, "--size", 1200, "-o", tmp_path, "--bare", "--json").lines[0]
        frame = tmp_path / truth["file"]
        told = serrata("appraise", frame, "--eye", "R", "--modality", "colour", "--instrument", profile, "--json").lines[0]["gaze"]
        assert told["seen"] == gaze, (seed, told)
        up, right = {"primary": (0, 0), "up": (25, 0), "left": (0, -25)}[gaze]
        assert abs(told["up_deg"] - up) < 7 and abs(told["right_deg"] - right) < 7, (seed, told)
        assert serrata("appraise", frame, "--modality", "colour", "--json").lines[0]["gaze"] is None, "without a projection there are no degrees"
