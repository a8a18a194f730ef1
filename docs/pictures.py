"""Make the pictures of the documentation anew from the demo job. Run: ``python docs/pictures.py``.

They are kept in the repository, so that building the pages needs no run of the job. Colours are cut down to 96, which
such flat pictures do not show and which makes them a third of the size.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from PIL import Image  # comes with matplotlib

import meshflow

HERE = Path(__file__).resolve().parent
PICTURES = {
    "breast-plate.png": "patterns/breast-plate.png",
    "copper-sheet.png": "sheets/cu_etp-0.8mm-sheet-01.png",
}


def main() -> None:
    """Run the demo job in a temporary folder and keep the pictures wanted."""
    with tempfile.TemporaryDirectory() as folder:
        meshflow.run(HERE.parent / "sample_meshes" / "carousel.toml", out=folder)
        for name, made in PICTURES.items():
            with Image.open(Path(folder, made)) as picture:
                small = picture.convert("RGB").quantize(colors=96, dither=Image.Dither.NONE)
                small.save(HERE / "images" / name, optimize=True)
                print(f"{name}: {(HERE / 'images' / name).stat().st_size} bytes")


if __name__ == "__main__":
    main()
