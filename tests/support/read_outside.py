"""Read a finished composite with other people's readers and check what they see.

What
    Whichever of these fit the file: exiftool, tiffinfo, pngcheck, tifffile,
    Pillow, astropy. Each gives what it sees of size, depth and colour profile;
    the XMP packet (as exiftool hands it over) must carry the avm:Spectral.*
    sequences, all of one length, and dc:title. FITS has neither profile nor
    XMP: there the size and the sample type are checked.

    Prints one line for each check; exit 1 if one did not hold, 2 if a reader
    is not installed.

Needs
    exiftool, tiffinfo, pngcheck; pip install numpy tifffile pillow astropy

Run
    python read_outside.py lantern.tif --size 6248x4176 --depth 16 \\
        --profile sRGB --title "Lantern Shell in three lines" --channels 3
"""

import argparse
import io
import json
import re
import shutil
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import tifffile
from astropy.io import fits
from PIL import Image, ImageCms

AVM = "{http://www.communicatingastronomy.org/avm/1.0/}"
DC = "{http://purl.org/dc/elements/1.1/}"
RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
SPECTRAL = ("ColorAssignment", "Band", "Bandpass", "CentralWavelength")
TIFF_TYPES = {"8": "uint8", "16": "uint16", "32f": "float32"}
FITS_BITPIX = {"8": 8, "16": 16, "32f": -32}
TIFF, PNG, JPEG, FITS = {".tif", ".tiff"}, {".png"}, {".jpg", ".jpeg"}, {".fits", ".fit"}
# Pillow does not open RGB TIFF files of 16 bits or floats.
PILLOW_ANY_DEPTH = PNG | JPEG


class Report:
    """Prints each check and remembers whether all held."""

    def __init__(self):
        self.held = True

    def check(self, reader, what, found, expected):
        good = found == expected
        self.held &= good
        wanted = "" if good else f", expected {expected}"
        print(f"{'ok  ' if good else 'BAD '} {reader}: {what} {found}{wanted}")

    def contains(self, reader, what, found, part):
        good = part.lower() in str(found).lower()
        self.held &= good
        wanted = "" if good else f", expected {part!r} in it"
        print(f"{'ok  ' if good else 'BAD '} {reader}: {what} {found!r}{wanted}")


def output_of(*command):
    """Standard output of a tool, as bytes; leaves with 2 if it is not installed."""
    if shutil.which(command[0]) is None:
        print(f"{command[0]} is not installed")
        sys.exit(2)
    return subprocess.run([str(part) for part in command], capture_output=True, check=False).stdout


def profile_description(profile):
    return ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(profile))).strip()


def check_exiftool(report, wanted):
    seen = json.loads(output_of("exiftool", "-j", "-G1", wanted.file))[0]
    by_name = {key.split(":")[-1]: value for key, value in seen.items()}
    report.check("exiftool", "size", (by_name.get("ImageWidth"), by_name.get("ImageHeight")), wanted.size)
    bits = str(by_name.get("BitsPerSample", by_name.get("BitDepth"))).split()
    report.check("exiftool", "bits", bits[0], wanted.depth.removesuffix("f"))
    report.contains("exiftool", "profile", by_name.get("ProfileDescription"), wanted.profile)
    if "Warning" in by_name or "Error" in by_name:
        report.check("exiftool", "complaint", by_name.get("Error", by_name.get("Warning")), None)


def items(description, name):
    """The texts of an rdf:Seq, rdf:Bag or rdf:Alt property, or None if it is not there."""
    found = description.find(name)
    return None if found is None else [item.text or "" for item in found.iter(f"{RDF}li")]


def check_xmp(report, wanted):
    packet = output_of("exiftool", "-b", "-XMP", wanted.file)
    report.check("exiftool", "XMP present", bool(packet), True)
    if not packet:
        return
    root = ElementTree.fromstring(packet.decode().strip("\ufeff \n\0"))
    properties = ElementTree.Element("all")
    for description in root.iter(f"{RDF}Description"):
        properties.extend(description)
    sequences = {name: items(properties, f"{AVM}Spectral.{name}") for name in SPECTRAL}
    for name, entries in sequences.items():
        report.check("XMP", f"avm:Spectral.{name} {entries}, entries", len(entries or ()), wanted.channels)
    for center in sequences["CentralWavelength"] or ():
        is_number = center == "-" or re.fullmatch(r"\d+(\.\d+)?", center) is not None
        report.check("XMP", f"central wavelength {center!r} a number or '-':", is_number, True)
    title = items(properties, f"{DC}title")
    report.check("XMP", "dc:title", title[0] if title else None, wanted.title)


def check_tiff(report, wanted):
    text = output_of("tiffinfo", wanted.file).decode()
    size = re.search(r"Image Width: (\d+) Image Length: (\d+)", text)
    report.check("tiffinfo", "size", size and (int(size[1]), int(size[2])), wanted.size)
    bits = re.search(r"Bits/Sample: (\d+)", text)
    report.check("tiffinfo", "bits", bits and bits[1], wanted.depth.removesuffix("f"))
    with tifffile.TiffFile(wanted.file) as tiff:
        page = tiff.pages[0]
        samples = page.asarray()
        report.check("tifffile", "shape", samples.shape, (wanted.size[1], wanted.size[0], 3))
        report.check("tifffile", "type", str(samples.dtype), TIFF_TYPES[wanted.depth])
        profile = page.iccprofile
        report.check("tifffile", "profile present", profile is not None, True)
        if profile is not None:
            report.contains("Pillow", "profile", profile_description(profile), wanted.profile)


def check_pillow(report, wanted):
    with Image.open(wanted.file) as picture:
        picture.load()
        report.check("Pillow", "size", picture.size, wanted.size)
        report.check("Pillow", "bands", picture.mode, "RGB")
        profile = picture.info.get("icc_profile")
        report.check("Pillow", "profile present", profile is not None, True)
        if profile is not None:
            report.contains("Pillow", "profile", profile_description(profile), wanted.profile)


def check_fits(report, wanted):
    with fits.open(wanted.file) as hdus:
        hdus.verify("exception")
        bitpix, samples = hdus[0].header["BITPIX"], hdus[0].data
        report.check("astropy", "shape", samples.shape, (3, wanted.size[1], wanted.size[0]))
        report.check("astropy", "BITPIX", bitpix, FITS_BITPIX[wanted.depth])


def parse_size(text):
    width, height = text.lower().split("x")
    return int(width), int(height)


def checked_png(path):
    """pngcheck's verdict; older versions do not know the cICP chunk, so it is left out."""
    data = Path(path).read_bytes()
    at = data.find(b"cICP") - 4
    if at > 0:
        length = int.from_bytes(data[at : at + 4], "big")
        data = data[:at] + data[at + 12 + length :]
    with tempfile.NamedTemporaryFile(suffix=".png") as plain:
        plain.write(data)
        plain.flush()
        return output_of("pngcheck", plain.name).decode()


def main():
    parser = argparse.ArgumentParser(description="Check a composite through outside readers.")
    parser.add_argument("file", type=Path)
    parser.add_argument("--size", type=parse_size, required=True, metavar="WxH")
    parser.add_argument("--depth", choices=("8", "16", "32f"), required=True)
    parser.add_argument("--profile", default="sRGB", help="part of the profile's description")
    parser.add_argument("--title", required=True, help="dc:title")
    parser.add_argument("--channels", type=int, required=True, help="entries of each sequence")
    wanted = parser.parse_args()

    report = Report()
    ending = wanted.file.suffix.lower()
    if ending in FITS:
        check_fits(report, wanted)
        sys.exit(0 if report.held else 1)
    if ending not in TIFF | PNG | JPEG:
        parser.error(f"{wanted.file} is neither TIFF, PNG, JPEG nor FITS")
    check_exiftool(report, wanted)
    check_xmp(report, wanted)
    if ending in TIFF:
        check_tiff(report, wanted)
    if ending in PNG:
        verdict = checked_png(wanted.file)
        report.contains("pngcheck", "verdict", verdict.strip(), "OK:")
    if ending in PILLOW_ANY_DEPTH or wanted.depth == "8":
        check_pillow(report, wanted)
    sys.exit(0 if report.held else 1)


if __name__ == "__main__":
    main()
