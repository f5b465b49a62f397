"""The one real retina that every machine has: `skimage/data/retina.jpg`.

Source: scikit-image 0.26.0 wheel, CC0; its data page says it is a left eye. Held: eye side left or abstained, its mirror
image right or abstained, and nothing that makes a sharp, well-lit narrow-field picture unusable as a picture.
"""

from __future__ import annotations

from PIL import ImageOps

import makers
from house import serrata

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
