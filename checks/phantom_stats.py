"""Statistics of ultra-widefield frames that do not depend on who made them: spectrum, grey levels, vessels, field, noise."""

from __future__ import annotations

import cv2
import numpy as np
from scipy import ndimage
from skimage.filters import sato
from skimage.morphology import skeletonize

#: Names of the statistics, in the order of a row. Levels are 0 to 255; lengths are pixels of the frame.
GREY = ["slope", "median", "low5", "high95", "vessel_share", "calibre", "field", "noise"]
COLOUR = ["slope", "red_median", "red_low5", "red_high95", "green_median", "green_low5", "green_high95",
          "vessel_share", "calibre", "field", "noise"]


def mask_of(region: dict | list, width: int, height: int) -> np.ndarray:
    """Polygons (a list of rings, or `polygons` and `holes`) as a mask."""
    rings, holes = (region, []) if isinstance(region, list) else (region["polygons"], region["holes"])
    mask = np.zeros((height, width), np.uint8)
    for ring in rings:
        cv2.fillPoly(mask, [np.round(ring).astype(np.int32)], 1)
    for ring in holes:
        cv2.fillPoly(mask, [np.round(ring).astype(np.int32)], 0)
    return mask.astype(bool)


def slope(plane: np.ndarray) -> float:
    """Slope of the radial power spectrum on log-log axes from 0.01 to 0.25 cycles a pixel, of the middle square half
    as high as the frame, under a Hann window."""
    side = plane.shape[0] // 2
    y, x = (plane.shape[0] - side) // 2, (plane.shape[1] - side) // 2
    part = plane[y:y + side, x:x + side].astype(np.float64)
    window = np.hanning(side)
    power = np.abs(np.fft.fftshift(np.fft.fft2((part - part.mean()) * np.outer(window, window)))) ** 2
    at = np.hypot(*np.meshgrid(np.arange(side) - side // 2, np.arange(side) - side // 2))
    radial = ndimage.mean(power, np.round(at).astype(int), np.arange(1, side // 2))
    f = np.arange(1, side // 2) / side
    keep = (f >= 0.01) & (f <= 0.25) & (radial > 0)
    # Octave bands weigh alike: average within 24 log-spaced bins first.
    edges = np.geomspace(0.01, 0.25, 25)
    bins = np.digitize(f[keep], edges)
    points = [(np.log(f[keep][bins == b]).mean(), np.log(radial[keep][bins == b]).mean()) for b in np.unique(bins)]
    return float(np.polyfit(*np.array(points).T, 1)[0])


def vessels(plane: np.ndarray, mask: np.ndarray, bright: bool) -> tuple[float, float]:
    """Share of the visible retina that a ridge filter marks, and the mean calibre in pixels of the frame.

    The frame is brought to 1300 pixels of width, flattened by its local mean and spread, and filtered at two to five
    pixels; the limit is fixed, so that a frame with more or stronger vessels gets a larger share."""
    scale = 1300 / plane.shape[1]
    size = (1300, round(plane.shape[0] * scale))
    g = cv2.resize(plane, size, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR).astype(np.float32)
    m = cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST).astype(bool)
    inner = ndimage.binary_erosion(m, iterations=12)
    if inner.sum() < 1000:
        return 0.0, 0.0
    weight = cv2.GaussianBlur(m.astype(np.float32), (0, 0), 25) + 1e-6
    mean = cv2.GaussianBlur(g * m, (0, 0), 25) / weight
    spread = np.sqrt(cv2.GaussianBlur(((g - mean) ** 2) * m, (0, 0), 25) / weight) + 2.0
    flat = np.where(m, (g - mean) / spread, 0)
    ridge = sato(flat, sigmas=(2, 3, 5), black_ridges=not bright) * inner
    found = ridge > 0.32
    found = ndimage.binary_opening(found)
    labels, n = ndimage.label(found, np.ones((3, 3)))
    if n:
        sizes = ndimage.sum(found, labels, np.arange(1, n + 1))
        found = np.isin(labels, 1 + np.flatnonzero(sizes >= 80))
    line = skeletonize(found)
    calibre = 2 * ndimage.distance_transform_edt(found)[line].mean() / scale if line.any() else 0.0
    return float(found.sum() / inner.sum()), float(calibre)


def noise(plane: np.ndarray, mask: np.ndarray) -> float:
    """Spread of what a Laplacian-like kernel leaves, from its mean size (Immerkaer, CVIU 1996;64:300), where the local
    mean is from 50 to 110 grey levels; from 20 to 50, or anywhere, where a frame has too little of that."""
    kernel = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    left = cv2.filter2D(plane.astype(np.float32), -1, kernel) / 6
    local = cv2.GaussianBlur(plane.astype(np.float32), (0, 0), 5)
    for low, high in ((50, 110), (20, 50), (4, 255)):
        at = mask & (local >= low) & (local < high)
        if at.sum() > 5000:
            return float(np.sqrt(np.pi / 2) * np.mean(np.abs(left[at])))
    return 0.0


def row(picture: np.ndarray, mask: np.ndarray) -> list[float]:
    """The statistics of one frame: RGB or grey, with the mask of its visible retina."""
    colour = picture.ndim == 3
    main = picture[:, :, 1] if colour else picture
    planes = [picture[:, :, 0], main] if colour else [main]
    levels = [float(v) for p in planes for v in np.percentile(p[mask], [50, 5, 95])]
    share, calibre = vessels(main, mask, bright=not colour)
    return [slope(main), *levels, share, calibre, float(mask.mean()), noise(main, mask)]
