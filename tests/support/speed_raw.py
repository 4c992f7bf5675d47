"""The least work that any program in Python's place must do: read and write.

What
    Reads every byte of the inputs and writes as many bytes as the composite
    has, through one buffer of 8 MiB, without looking at them. The bytes go to
    a new file each time. Prints seconds without and with fsync as JSON.

Needs
    Python alone, on a system with os.readv.

Run
    python speed_raw.py OUT INPUT... --bytes COUNT
"""

import argparse
import json
import os
import time
from pathlib import Path

BUFFER_BYTES = 8 << 20


def read_and_write(inputs, output, output_bytes):
    """Seconds until the bytes are handed to the system, and until they are on disk."""
    buffer = bytearray(BUFFER_BYTES)
    view = memoryview(buffer)
    start = time.perf_counter()
    for path in inputs:
        descriptor = os.open(path, os.O_RDONLY)
        while os.readv(descriptor, [buffer]):
            pass
        os.close(descriptor)
    descriptor = os.open(output, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
    left = output_bytes
    while left > 0:
        left -= os.write(descriptor, view[: min(left, BUFFER_BYTES)])
    written = time.perf_counter() - start
    os.fsync(descriptor)
    synced = time.perf_counter() - start
    os.close(descriptor)
    return written, synced


def main():
    parser = argparse.ArgumentParser(description="Read the inputs, write as many bytes as needed.")
    parser.add_argument("output", type=Path)
    parser.add_argument("inputs", type=Path, nargs="+")
    parser.add_argument("--bytes", type=int, required=True, help="how many to write")
    arguments = parser.parse_args()
    written, synced = read_and_write(arguments.inputs, arguments.output, arguments.bytes)
    print(json.dumps({"seconds": written, "seconds_synced": synced}))


if __name__ == "__main__":
    main()
