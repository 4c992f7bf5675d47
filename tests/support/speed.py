"""How fast `linehue compose` is, and how much memory it needs, beside two baselines.

What
    In one run, over the same three float32 inputs and the same recipe (asinh,
    light blend, sRGB, 16 bits, uncompressed TIFF):

    - raw: read the inputs' bytes, write the composite's (`speed_raw.py`);
    - numpy, bands / whole: the same arithmetic in numpy (`speed_numpy.py`),
      timed without the start of Python and its imports;
    - linehue: the program, timed as a whole process.

    The inputs are read once beforehand, so the page cache is warm; the runs
    take turns, and best and median are of `--runs` each. "on disk" includes
    fsync; the program's one time has whatever it does itself. Peak memory is
    the process's largest resident set, mapped file pages included.

    Then the composites of numpy and linehue are compared with the reference on
    two crops (1 code allowed), and linehue runs once more on a picture of twice
    the height, which must not take more than a tenth more memory.

Needs
    pip install numpy astropy tifffile scipy imagecodecs coloraide colour-science
    and, for the largest size, 2 GB in the scratch folder. Linux or macOS.

Run
    python speed.py --linehue target/release/linehue --dir SCRATCH [--size 6248x4176]
    python speed.py --linehue PATH --dir SCRATCH --files HA OIII SII
"""

import argparse
import json
import os
import statistics
import subprocess
import sys
import time
from pathlib import Path
from typing import NamedTuple

HERE = Path(__file__).resolve().parent
NAMES = ("ha", "oiii", "sii")
BAND_ROWS = 16
MOST_GROWTH = 1.10
RSS_UNIT = 1 if sys.platform == "darwin" else 1024


class Run(NamedTuple):
    """One process: its own account, its wall time in seconds, its peak memory in bytes."""

    output: str
    wall_s: float
    peak_bytes: int


def run(command):
    """Run a command and wait for it; this process stays small, so the peak is the child's."""
    start = time.perf_counter()
    process = subprocess.Popen([str(part) for part in command], stdout=subprocess.PIPE)
    output = process.stdout.read().decode()
    _, status, usage = os.wait4(process.pid, 0)
    wall = time.perf_counter() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode != 0:
        sys.exit(f"exit {process.returncode}: {' '.join(map(str, command))}")
    return Run(output, wall, usage.ru_maxrss * RSS_UNIT)


def python(script, *arguments):
    return [sys.executable, HERE / script, *arguments]


def linehue_command(linehue, recipe, output):
    options = ["--rendition", "timed", "--space", "srgb", "--depth", "16"]
    return [linehue, "compose", recipe, "-o", output, *options]


def make_inputs(folder, width, height):
    """Make three inputs and their recipe; returns the inputs."""
    folder.mkdir(parents=True, exist_ok=True)
    run(python("speed_numpy.py", "make", folder, "--size", f"{width}x{height}"))
    return [folder / f"{name}.fits" for name in NAMES]


def write_recipe(files, recipe):
    run(python("speed_numpy.py", "recipe", *files, "-o", recipe))


def measure(commands, runs):
    """Run every command `runs` times, taking turns; (seconds, synced, peaks) by name."""
    times = {name: ([], [], []) for name in commands}
    for _ in range(runs):
        for name, (command, output) in commands.items():
            output.unlink(missing_ok=True)
            done = run(command)
            seconds, synced, peaks = times[name]
            if name == "linehue":
                seconds.append(done.wall_s)
            else:
                account = json.loads(done.output)
                seconds.append(account["seconds"])
                synced.append(account["seconds_synced"])
            peaks.append(done.peak_bytes)
    return times


def print_table(times):
    """Seconds, ratios of the best to that of banded numpy and of raw, peak memory."""
    best = {name: min(seconds) for name, (seconds, _, _) in times.items()}
    print(
        f"{'':14}{'best s':>9}{'median s':>10}{'on disk s':>11}"
        f"{'of numpy':>10}{'of raw':>8}{'peak MB':>9}"
    )
    for name, (seconds, synced, peaks) in times.items():
        on_disk = f"{min(synced):.3f}" if synced else "-"
        print(
            f"{name:14}{best[name]:>9.3f}{statistics.median(seconds):>10.3f}{on_disk:>11}"
            f"{best[name] / best['numpy, bands']:>10.2f}{best[name] / best['raw']:>8.2f}"
            f"{max(peaks) / 1e6:>9.0f}"
        )


def largest_difference(recipe, output):
    account = run(python("speed_numpy.py", "check", recipe, output)).output
    return json.loads(account)["largest_difference"]


def check_growth(linehue, folder, width, height):
    """Peak memory at the size and at twice the height; false if it grows."""
    peaks = []
    for label, rows in (("once", height), ("twice", 2 * height)):
        files = make_inputs(folder / label, width, rows)
        recipe, output = folder / label / "recipe.toml", folder / label / "out.tif"
        write_recipe(files, recipe)
        peaks.append(run(linehue_command(linehue, recipe, output)).peak_bytes)
        for path in (*files, output):
            path.unlink()
    growth = peaks[1] / peaks[0]
    print(
        f"peak memory at {width}x{height}: {peaks[0] / 1e6:.0f} MB, "
        f"at {width}x{2 * height}: {peaks[1] / 1e6:.0f} MB ({growth:.2f} times)"
    )
    return growth <= MOST_GROWTH


def parse_size(text):
    width, height = text.lower().split("x")
    return int(width), int(height)


def main():
    parser = argparse.ArgumentParser(description="Time linehue compose beside two baselines.")
    parser.add_argument("--linehue", type=Path, help="the program; without it, the baselines only")
    parser.add_argument("--dir", type=Path, required=True, help="a scratch folder")
    parser.add_argument("--size", type=parse_size, default=(6248, 4176), metavar="WxH")
    parser.add_argument("--files", type=Path, nargs=3, metavar=("HA", "OIII", "SII"))
    parser.add_argument("--runs", type=int, default=5)
    arguments = parser.parse_args()

    folder, (width, height) = arguments.dir, arguments.size
    folder.mkdir(parents=True, exist_ok=True)
    files = arguments.files or make_inputs(folder, width, height)
    recipe = folder / "recipe.toml"
    write_recipe(files, recipe)

    outputs = {name: folder / f"{name}.tif" for name in ("bands", "whole", "linehue")}
    numpy_run = ["compose", recipe, "-o"]
    run(python("speed_numpy.py", *numpy_run, outputs["bands"], "--band-rows", BAND_ROWS))
    output_bytes = outputs["bands"].stat().st_size
    raw = folder / "raw.bin"
    commands = {
        "raw": (python("speed_raw.py", raw, *files, "--bytes", output_bytes), raw),
        "numpy, bands": (
            python("speed_numpy.py", *numpy_run, outputs["bands"], "--band-rows", BAND_ROWS),
            outputs["bands"],
        ),
        "numpy, whole": (
            python("speed_numpy.py", *numpy_run, outputs["whole"]),
            outputs["whole"],
        ),
    }
    if arguments.linehue:
        linehue = arguments.linehue.resolve()
        command = linehue_command(linehue, recipe, outputs["linehue"])
        run(command)
        commands["linehue"] = (command, outputs["linehue"])

    read_bytes = sum(path.stat().st_size for path in files)
    print(f"{read_bytes / 1e6:.0f} MB in, {output_bytes / 1e6:.0f} MB out, {os.cpu_count()} processors")
    print_table(measure(commands, arguments.runs))

    held = True
    checked = ("bands", "linehue") if arguments.linehue else ("bands",)
    for name in checked:
        difference = largest_difference(recipe, outputs[name])
        print(f"{name}: at most {difference:g} codes from the reference")
        held &= difference <= 1
    if arguments.linehue:
        held &= check_growth(linehue, folder, width, height)
    sys.exit(0 if held else 1)


if __name__ == "__main__":
    main()
