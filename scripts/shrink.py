"""Makes a picture of a screen small enough for the repository: 1000 pixels wide, 256 colours.

    shrink.py FROM TO
"""

import sys

from PIL import Image

source, target = sys.argv[1:]
picture = Image.open(source).convert("RGB")
height = round(picture.height * 1000 / picture.width)
picture.resize((1000, height), Image.Resampling.LANCZOS).quantize(256).save(target, optimize=True)
