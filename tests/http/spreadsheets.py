"""Opens every CSV file of a folder with Python's csv and with LibreOffice: the same cells, and none of them a formula."""

import csv
import pathlib
import subprocess
import sys
import xml.etree.ElementTree as xml

OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
# Commas between, double quotes around, UTF-8, from the first line on: what a person confirms when opening a file.
READ_AS = "Text - txt - csv (StarCalc):44,34,76,1"


def opened(file):
    """The cells as LibreOffice has them: numbers and days as such, everything else as text."""
    profile = file.parent / "profile"
    command = ["soffice", f"-env:UserInstallation={profile.as_uri()}", "--headless", f"--infilter={READ_AS}"]
    command += ["--convert-to", "fods", "--outdir", str(file.parent), str(file)]
    subprocess.run(command, check=True, capture_output=True, timeout=300)
    root = xml.parse(file.with_suffix(".fods")).getroot()
    rows = []
    for row in root.iter(f"{TABLE}table-row"):
        cells = []
        for cell in row.iter(f"{TABLE}table-cell"):
            assert f"{TABLE}formula" not in cell.attrib, f"{file.name} runs {cell.attrib}"
            kind = cell.get(f"{OFFICE}value-type")
            if kind in ("float", "currency", "percentage"):
                value = float(cell.get(f"{OFFICE}value"))
            elif kind == "date":
                value = cell.get(f"{OFFICE}date-value")
            else:
                value = "\n".join("".join(part.itertext()) for part in cell.iter(f"{TEXT}p"))
            cells += [value] * int(cell.get(f"{TABLE}number-columns-repeated", "1"))
        while cells and cells[-1] == "":
            cells.pop()
        if cells:
            rows.append(cells)
    return rows


def alike(ours, theirs):
    if isinstance(theirs, float):
        return float(ours) == theirs
    if ours == theirs:
        return True
    # A time of the day: LibreOffice leaves away the zone's sign only where it takes it for a date.
    return ours.rstrip("Z") == theirs


def main():
    folder = pathlib.Path(sys.argv[1])
    files = sorted(folder.glob("*.csv"))
    assert files
    for file in files:
        text = file.read_bytes().decode("utf-8")
        assert text.endswith("\r\n") and "\n" not in text.replace("\r\n", ""), "RFC 4180 ends lines with CR LF"
        ours = list(csv.reader(text.splitlines(keepends=True), strict=True))
        assert len({len(row) for row in ours}) == 1, f"{file.name} has rows of different lengths"
        theirs = opened(file)
        assert len(ours) == len(theirs), f"{file.name}: {len(ours)} rows here, {len(theirs)} there"
        cells = 0
        for number, (row, other) in enumerate(zip(ours, theirs), 1):
            other = other + [""] * (len(row) - len(other))
            assert len(row) == len(other), (file.name, number, row, other)
            for one, two in zip(row, other):
                assert alike(one, two), f"{file.name}, row {number}: {one!r} is {two!r} there"
                assert not one.startswith(("=", "@", "+", "\t")), f"{file.name}, row {number}: {one!r} would be run"
                cells += 1
        print(f"{file.name}: {len(ours)} rows, {cells} cells, the same in both")


main()
