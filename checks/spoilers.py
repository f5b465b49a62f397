"""Real pictures spoiled on purpose, two unrelated ways per fault, apart from the engine.

Every spoiler takes a picture (height × width, or × 3, uint8), a strength from 0 (least) to 1 (most) and a random generator.
Ranges are those that the appraisal is held to: blur σ 0.2–0.8 % of the width, gain 0.08–0.25 and 2.5–6, a lid band of 6–25 % of
the height, a row jump of 1.2–5 % of the width, a shadow over 20–45 % of the width. How each fault looks: from what real frames
show (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

Spoiler = Callable[[np.ndarray, float, np.random.Generator], np.ndarray]


def between(low: float, high: float, strength: float) -> float:
    """From `low` at strength 0 to `high` at 1."""
    return low + (high - low) * strength


def cut(values: np.ndarray) -> np.ndarray:
    """Rounded and cut to 8 bit."""
    return np.clip(np.rint(values), 0, 255).astype(np.uint8)


def veil_of(shape: tuple, mask: np.ndarray) -> np.ndarray:
    """A mask of the picture's height and width, shaped to multiply it."""
    return mask[..., None] if len(shape) == 3 else mask


def blur_gauss(p: np.ndarray, s: float, _: np.random.Generator) -> np.ndarray:
    """Gaussian."""
    return cv2.GaussianBlur(p, (0, 0), between(0.002, 0.008, s) * p.shape[1])


def blur_disc(p: np.ndarray, s: float, _: np.random.Generator) -> np.ndarray:
    """Defocus: an even disc with the variance of the Gaussian (radius 2 σ), with fresh sensor noise on top."""
    r = 2 * between(0.002, 0.008, s) * p.shape[1]
    n = int(np.ceil(r)) * 2 + 1
    y, x = np.mgrid[:n, :n] - n // 2
    kernel = np.clip(r + 0.5 - np.hypot(x, y), 0, 1)
    out = cv2.filter2D(p, cv2.CV_32F, kernel / kernel.sum())
    return cut(out + _.normal(0, 1.0, p.shape))


def dark_gain(p: np.ndarray, s: float, _: np.random.Generator) -> np.ndarray:
    """Plain gain."""
    return cut(p * between(0.25, 0.08, s))


def dark_photons(p: np.ndarray, s: float, rng: np.random.Generator) -> np.ndarray:
    """Fewer photons: gain with shot noise (200 electrons at full scale) and read noise."""
    light = p.astype(np.float64) / 255 * between(0.25, 0.08, s)
    return cut((rng.poisson(light * 200) / 200 + rng.normal(0, 0.004, p.shape)) * 255)


def bright_gain(p: np.ndarray, s: float, _: np.random.Generator) -> np.ndarray:
    """Plain gain, cut."""
    return cut(p * between(2.5, 6.0, s))


def bright_bloom(p: np.ndarray, s: float, _: np.random.Generator) -> np.ndarray:
    """Gain whose overflow blooms into the neighbourhood."""
    light = p.astype(np.float32) * between(2.5, 6.0, s)
    over = cv2.GaussianBlur(np.maximum(light - 255, 0), (0, 0), 0.006 * p.shape[1])
    return cut(np.minimum(light, 255) + 0.25 * over)


def band(p: np.ndarray, s: float, rng: np.random.Generator) -> tuple[int, int]:
    """Rows of a lid band; one of four touches the upper or the lower edge."""
    h = p.shape[0]
    n = round(between(0.06, 0.25, s) * h)
    where = rng.random()
    if where < 0.125:
        return 0, n
    if where > 0.875:
        return h - n, h
    top = int(rng.integers(int(0.15 * h), int(0.85 * h) - n))
    return top, top + n


def skin(p: np.ndarray) -> np.ndarray:
    """Typical lid: bright and greenish by two lasers, dim grey in dye pictures."""
    return np.array([150, 170, 25]) if p.ndim == 3 else np.array(38)


def blink_flat(p: np.ndarray, s: float, rng: np.random.Generator) -> np.ndarray:
    """A band of even skin with coarse shading and a hard edge."""
    a, b = band(p, s, rng)
    out = p.copy()
    shade = cv2.resize(rng.uniform(0.8, 1.2, (3, 9)).astype(np.float32), (p.shape[1], b - a), interpolation=cv2.INTER_CUBIC)
    out[a:b] = cut(veil_of(p.shape, shade) * skin(p) + rng.normal(0, 2, p[a:b].shape))
    return out


def blink_soft(p: np.ndarray, s: float, rng: np.random.Generator) -> np.ndarray:
    """Dim, textured skin with edges that take 0.5 % of the height."""
    a, b = band(p, s, rng)
    h, w = p.shape[:2]
    y = np.arange(h)[:, None]
    soft = 0.005 * h
    inside = 1 / (1 + np.exp(-np.clip((y - a) / soft * 4, -50, 50))) if a > 0 else np.ones((h, 1))
    inside = inside * (1 / (1 + np.exp(-np.clip((b - y) / soft * 4, -50, 50))) if b < h else 1)
    inside = np.repeat(inside, w, axis=1).astype(np.float32)
    fine = cv2.GaussianBlur(rng.normal(0, 1, (h, w)).astype(np.float32), (0, 0), max(0.003 * w, 1))
    texture = 1 + 0.12 * fine / fine.std()
    lid = veil_of(p.shape, texture) * skin(p) * (0.6 if p.ndim == 3 else 0.5)
    inside = veil_of(p.shape, inside)
    return cut(p * (1 - inside) + lid * inside)


def jump_once(p: np.ndarray, s: float, rng: np.random.Generator) -> np.ndarray:
    """All rows below one have moved; what comes in at the side repeats the edge."""
    h, w = p.shape[:2]
    d = round(between(0.012, 0.05, s) * w) * int(rng.choice([-1, 1]))
    row = int(rng.integers(int(0.3 * h), int(0.7 * h)))
    out = p.copy()
    out[row:] = cv2.warpAffine(p, np.float32([[1, 0, d], [0, 1, 0]]), (w, h), borderMode=cv2.BORDER_REPLICATE)[row:]
    return out


def jump_and_drift(p: np.ndarray, s: float, rng: np.random.Generator) -> np.ndarray:
    """A jump in part of a pixel that takes three rows, with a little upward shift, then a slow drift back."""
    h, w = p.shape[:2]
    d = between(0.012, 0.05, s) * w * float(rng.choice([-1, 1]))
    row = int(rng.integers(int(0.3 * h), int(0.7 * h)))
    y = np.arange(h, dtype=np.float32)
    along = np.clip((y - row) / 3, 0, 1) * d * np.clip(1 - 0.5 * (y - row) / h, 0, 1)
    map_x = np.arange(w, dtype=np.float32)[None] - along[:, None]
    map_y = np.repeat((y - 0.003 * h * (y >= row))[:, None], w, axis=1)
    return cv2.remap(p, map_x.astype(np.float32), map_y.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def shadow_edge(p: np.ndarray, s: float, rng: np.random.Generator) -> np.ndarray:
    """One side falls to a fiftieth over a tenth of the width."""
    h, w = p.shape[:2]
    x = np.arange(w) / w
    lost = between(0.20, 0.45, s)
    light = 0.02 + 0.98 / (1 + np.exp(-(x - lost) / 0.02))
    light = light if rng.random() < 0.5 else light[::-1]
    return cut(p * veil_of(p.shape, np.repeat(light[None], h, axis=0)))


def shadow_round(p: np.ndarray, s: float, rng: np.random.Generator) -> np.ndarray:
    """The round edge of a pupil's image moved aside: black beyond it, soft over a twentieth of the width."""
    h, w = p.shape[:2]
    y, x = np.mgrid[:h, :w]
    lost = between(0.20, 0.45, s) * w
    r = 1.1 * max(h, w)
    far = np.hypot(x - (lost + r), y - h / 2) - r
    light = 1 / (1 + np.exp(np.clip(far / (0.0125 * w), -50, 50)))
    light = light if rng.random() < 0.5 else light[:, ::-1]
    return cut(p * veil_of(p.shape, light) + veil_of(p.shape, 1 - light) * 1.5)


def haze_veil(p: np.ndarray, s: float, _: np.random.Generator) -> np.ndarray:
    """Scattered light: a share of the picture is replaced by a very blurred copy of it. Not asked for; for the confusion."""
    share = between(0.3, 0.75, s)
    return cut(p * (1 - share) + share * 1.1 * cv2.GaussianBlur(p, (0, 0), 0.05 * p.shape[1]))


#: Fault → (findings of which the strongest is scored, two spoilers).
SPOILERS: dict[str, tuple[tuple[str, ...], tuple[Spoiler, ...]]] = {
    "blur": (("blur",), (blur_gauss, blur_disc)),
    "underexposed": (("underexposed",), (dark_gain, dark_photons)),
    "overexposed": (("overexposed",), (bright_gain, bright_bloom)),
    "blink": (("blink",), (blink_flat, blink_soft)),
    "motion": (("motion",), (jump_once, jump_and_drift)),
    "off_centre": (("off_centre", "iris_shadow"), (shadow_edge, shadow_round)),
    "haze": (("haze",), (haze_veil,)),
}
