"""Executes the notebooks against a service and compares what they show.

    python3 notebooks/check.py [--write] [NOTEBOOK ...]

The service is the one that BOWROLL_HTTP names. Text must come out as it is
committed; a picture may differ where fonts do, in a small part of its points.
With --write the notebooks are saved with what they show now. It needs
nbclient, ipykernel, pandas and matplotlib.
"""

from __future__ import annotations

import argparse
import base64
import io
import os
import pathlib
import sys

import nbformat
from matplotlib import image
from nbclient import NotebookClient

HERE = pathlib.Path(__file__).resolve().parent

# Mean difference of two pictures, of 1 between black and white.
PICTURE_TOLERANCE = 0.02


def execute(path: pathlib.Path) -> nbformat.NotebookNode:
    """The notebook with what its cells show now."""
    notebook = nbformat.read(path, as_version=4)
    os.environ["PYTHONPATH"] = str(HERE.parent)
    os.environ["PYTHONHASHSEED"] = "0"
    NotebookClient(notebook, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(HERE)}}).execute()
    for cell in notebook.cells:
        # When it ran is no part of what it shows.
        cell.metadata.pop("execution", None)
    return notebook


def shown(cell: nbformat.NotebookNode) -> list[tuple[str, str]]:
    """What a cell shows: media type and content, in order."""
    out: list[tuple[str, str]] = []
    for output in cell.get("outputs", ()):
        if output.output_type == "stream":
            out.append((output.name, output.text))
        for kind, content in sorted(output.get("data", {}).items()):
            out.append((kind, content))
    return out


def differences(name: str, committed: nbformat.NotebookNode, now: nbformat.NotebookNode) -> list[str]:
    """Where two runs of a notebook differ, a line each."""
    out = []
    for number, (before, after) in enumerate(zip(committed.cells, now.cells)):
        old, new = shown(before), shown(after)
        if [kind for kind, _ in old] != [kind for kind, _ in new]:
            out.append(f"{name}, cell {number}: shows {[kind for kind, _ in new]}, committed {[kind for kind, _ in old]}")
            continue
        for (kind, was), (_, content) in zip(old, new):
            if kind == "image/png":
                apart = distance(was, content)
                if apart > PICTURE_TOLERANCE:
                    out.append(f"{name}, cell {number}: the picture is {apart:.3f} from the committed one")
            elif was != content:
                out.append(f"{name}, cell {number}, {kind}:\n--- committed\n{was}\n--- now\n{content}")
    return out


def distance(a: str, b: str) -> float:
    """Mean difference of two PNG pictures in base64."""
    first, second = (image.imread(io.BytesIO(base64.b64decode(text)), format="png") for text in (a, b))
    if first.shape != second.shape:
        return 1.0
    return float(abs(first - second).mean())


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--write", action="store_true", help="save the notebooks with what they show now")
    parser.add_argument("notebooks", nargs="*", type=pathlib.Path)
    arguments = parser.parse_args()
    if "BOWROLL_HTTP" not in os.environ:
        parser.error("BOWROLL_HTTP is not set: give the address of a service, such as http://127.0.0.1:8472")
    failed = False
    for path in arguments.notebooks or sorted(HERE.glob("*.ipynb")):
        committed = nbformat.read(path, as_version=4)
        now = execute(path)
        if arguments.write:
            nbformat.write(now, path)
            print(f"{path.name}: written")
            continue
        found = differences(path.name, committed, now)
        failed = failed or bool(found)
        print("\n".join(found) if found else f"{path.name}: as committed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
