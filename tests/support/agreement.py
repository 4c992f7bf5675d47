"""How well raw stacks, aligned and levelled, agree with the even set.

What
    Lays each stack of sample-stacks/lantern-raw on the grid of its line in
    sample-stacks/lantern (`linehue channels`: by stars, cropped, levelled),
    fits gain and offset between the two, and prints what is left: the rms and
    the range of the difference's medians over 48 x 48 pixels, in units of one
    pixel's noise; once with the sky evened and once as it came.

Needs
    pip install numpy scipy astropy

Run
    python agreement.py --linehue ../../target/release/linehue
"""

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from astropy.io import fits
from scipy.ndimage import gaussian_filter

STACKS = Path(__file__).resolve().parents[2] / "sample-stacks"
PAIRS = (
    ("Ha", "lantern-ha.fits", "lantern_stack_01.fits", 1),
    ("OIII", "lantern-oiii.fits", "Lantern Shell [O III] 3nm.fits", 2),
    ("OIII", "lantern-oiii.fits", "second-night.fits", 1),
    ("SII", "lantern-sii.fits", "shell sulphur.fits.fz", 2),
)
BOX = 48


def recipe(line, even, raw, degree):
    """The text of a recipe that lays `raw` on the grid of `even`."""
    stretch = "stretch = { black = 0, white = 1e6 }"
    level = f"level = {{ degree = {degree} }}" if degree else ""
    return f"""recipe = 1
reference = "even"
crop = "common"
[[channel]]
id = "even"
file = "{STACKS / 'lantern' / even}"
line = "{line}"
{stretch}
[[channel]]
id = "raw"
file = "{STACKS / 'lantern-raw' / raw}"
line = "{line}"
align = {{ method = "stars" }}
{level}
{stretch}
[[rendition]]
id = "both"
colors = {{ even = [1, 1, 1], raw = [1, 1, 1] }}
"""


def pixel_noise(picture):
    """Sigma of a pixel from differences along the rows (Stoehr et al. 2008)."""
    difference = 2 * picture[:, 2:-2] - picture[:, :-4] - picture[:, 4:]
    return 1.4826 / np.sqrt(6) * np.nanmedian(np.abs(difference))


def left_over(even, raw):
    """Medians over boxes of what no gain and offset explain."""
    smooth_even = gaussian_filter(even, 2.5)
    smooth_raw = gaussian_filter(np.where(np.isnan(raw), np.nanmedian(raw), raw), 2.5)
    used = smooth_even < np.quantile(smooth_even, 0.97)
    line = np.polyfit(smooth_even[used], smooth_raw[used], 1)
    for _ in range(5):
        rest = smooth_raw - np.polyval(line, smooth_even)
        sigma = 1.4826 * np.median(np.abs(rest[used] - np.median(rest[used])))
        kept = used & (np.abs(rest) < 4 * sigma)
        line = np.polyfit(smooth_even[kept], smooth_raw[kept], 1)
    rest = smooth_raw - np.polyval(line, smooth_even)
    rows, columns = rest.shape[0] // BOX, rest.shape[1] // BOX
    boxes = rest[: rows * BOX, : columns * BOX].reshape(rows, BOX, columns, BOX)
    return np.median(boxes, axis=(1, 3))


def main():
    parser = argparse.ArgumentParser(description="Compare lantern-raw with lantern.")
    parser.add_argument("--linehue", required=True)
    wanted = parser.parse_args()
    for line, even, raw, degree in PAIRS:
        for used in (degree, None):
            with tempfile.TemporaryDirectory() as folder:
                place = Path(folder)
                (place / "pair.toml").write_text(recipe(line, even, raw, used))
                command = [wanted.linehue, "channels", place / "pair.toml", "-o", place, "--quiet"]
                if subprocess.run(command, stdout=subprocess.DEVNULL).returncode:
                    sys.exit(f"{raw}: linehue failed")
                pictures = [fits.getdata(place / f"{name}.fits").astype(float) for name in ("even", "raw")]
            noise = pixel_noise(pictures[1])
            rest = left_over(*pictures) / noise
            sky = "evened" if used else "as it came"
            print(f"{raw:32} sky {sky:11} rms {rest.std():5.2f}  range {np.ptp(rest):6.2f}  (pixel noise {noise:.2f})")


if __name__ == "__main__":
    main()
