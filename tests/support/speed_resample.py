"""Times resampling a 26-megapixel plane against two libraries that do it too.

    python tests/support/speed_resample.py [--binary target/release/examples/resample_speed]

Measures scipy's affine_transform (cubic splines), OpenCV's warpAffine
(Lanczos with four lobes) and ours on planes of one size, with two threads
each, in one run. Processor time is the fairer measure on a busy machine;
scipy keeps to one thread, so there clock and processor agree. Needs numpy, scipy and opencv-python-headless, and
`cargo build --release --example resample_speed`.
"""

import argparse
import json
import os
import subprocess
import time

os.environ["OMP_NUM_THREADS"] = "2"

import cv2
import numpy as np
from scipy import ndimage

RUNS = 3


def best(work, runs=RUNS):
    """The least clock and processor time of some runs, in seconds."""
    times = []
    for _ in range(runs):
        start, busy = time.perf_counter(), time.process_time()
        work()
        times.append((time.perf_counter() - start, time.process_time() - busy))
    return tuple(min(column) for column in zip(*times))


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--binary", default="target/release/examples/resample_speed")
    parser.add_argument("--width", type=int, default=6248)
    parser.add_argument("--height", type=int, default=4176)
    parser.add_argument("--degrees", type=float, default=3.0)
    options = parser.parse_args()
    width, height = options.width, options.height

    cv2.setNumThreads(2)
    plane = np.random.default_rng(1).normal(400, 12, (height, width)).astype(np.float32)
    angle = np.radians(options.degrees)
    sin, cos = np.sin(angle), np.cos(angle)
    middle = np.array([width / 2, height / 2])
    # From the result to the source, as both libraries take it: scipy in
    # (row, column), OpenCV in (x, y).
    to_source = np.array([[cos, sin], [-sin, cos]])
    shift = middle - to_source @ middle
    flipped = to_source[::-1, ::-1]
    affine = np.column_stack([to_source, shift]).astype(np.float64)
    out = np.empty_like(plane)

    report = json.loads(
        subprocess.run(
            [options.binary, str(width), str(height), str(options.degrees)],
            check=True,
            capture_output=True,
            text=True,
            env=os.environ | {"RAYON_NUM_THREADS": "2"},
        ).stdout
    )
    ours = (report["seconds"], report["processor_seconds"])
    opencv = best(
        lambda: cv2.warpAffine(
            plane,
            affine,
            (width, height),
            dst=out,
            flags=cv2.INTER_LANCZOS4 | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=float("nan"),
        )
    )
    scipy = best(
        lambda: ndimage.affine_transform(
            plane, flipped, offset=shift[::-1], order=3, output=out, cval=np.nan
        ),
        runs=1,
    )

    megapixels = width * height / 1e6
    print(f"{width} x {height}, float32, turned by {options.degrees} degrees, 2 threads")
    print(
        f"{'':34} {'clock s':>8} {'Mpx/s':>7} {'ours faster by':>15}"
        f" {'processor s':>12} {'ours faster by':>15}"
    )
    for name, (clock, busy) in [
        ("ours, Lanczos-3, no rings", ours),
        ("OpenCV warpAffine, INTER_LANCZOS4", opencv),
        ("scipy affine_transform, order=3", scipy),
    ]:
        print(
            f"{name:34} {clock:8.3f} {megapixels / clock:7.1f} {clock / ours[0]:14.1f}x"
            f" {busy:12.2f} {busy / ours[1]:14.1f}x"
        )


if __name__ == "__main__":
    main()
