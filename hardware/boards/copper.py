"""The copper of a board as its factory sees it: Gerber and drill by gerbonara, on a bitmap, joined.

Independent of KiCad and of the router: only the files to order are read. Needs gerbonara (extra `boards`).
"""

from __future__ import annotations

import math
import tempfile
import warnings
import zipfile
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw
from scipy import ndimage
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

MM = 20
"""Pixels per millimetre: four for the smallest gap of 0.2 mm."""
LAYERS = (("top", "copper"), ("inner_1", "copper"), ("inner_2", "copper"), ("bottom", "copper"))


class Copper:
    """Pieces of connected copper; millimetres, y upwards."""

    def __init__(self, archive: Path, width: float, height: float) -> None:
        from gerbonara import LayerStack

        self.size = (math.ceil(width * MM) + 1, math.ceil(height * MM) + 1)
        with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
            warnings.simplefilter("ignore")  # gerbonara remarks on names of apertures
            with zipfile.ZipFile(archive) as files:
                files.extractall(folder)
            for job in Path(folder).glob("*.gbrjob"):
                job.unlink()
            stack = LayerStack.open(Path(folder))
            self.images = [self._drawn(stack[layer].objects) for layer in LAYERS]
            self.holes = [(o.x, o.y) for o in stack.drill_pth.objects if hasattr(o, "x")]
        self.holes += [(x, y) for x, y in self._slots(stack)]
        self._pieces = self._joined([ndimage.label(image)[0] for image in self.images])

    def at(self, layer: int, x: float, y: float) -> int:
        """The piece at a point of a layer (0 top, 3 bottom)."""
        column, row = self._pixel(x, y)
        return int(self._pieces[layer][row, column])

    def piece(self, layer: int, number: int) -> np.ndarray:
        """Mask of one piece on one layer, rows downwards."""
        return np.asarray(self._pieces[layer] == number)

    @staticmethod
    def _slots(stack: object) -> list[tuple[float, float]]:
        lines = [o for o in stack.drill_pth.objects if hasattr(o, "x1")]  # type: ignore[attr-defined]
        return [((o.x1 + o.x2) / 2, (o.y1 + o.y2) / 2) for o in lines]

    def _pixel(self, x: float, y: float) -> tuple[int, int]:
        return round(x * MM), round(-y * MM)

    def _drawn(self, objects: list) -> np.ndarray:
        image = Image.new("1", self.size, 0)
        pen = ImageDraw.Draw(image)
        for item in objects:
            for shape in item.to_primitives(unit="mm"):
                if not shape.polarity_dark:
                    raise ValueError("copper that is erased again is not understood")
                self._shape(pen, shape)
        return np.array(image)

    def _shape(self, pen: ImageDraw.ImageDraw, shape: object) -> None:
        kind = type(shape).__name__
        if kind == "Circle":
            self._disc(pen, shape.x, shape.y, shape.r)  # type: ignore[attr-defined]
        elif kind == "Line":
            self._line(pen, shape)
        elif kind == "Rectangle":
            self._rectangle(pen, shape)
        else:
            if any(shape.arc_centers):  # type: ignore[attr-defined]
                raise ValueError("a copper area with arcs is not understood")
            pen.polygon([self._pixel(x, y) for x, y in shape.outline], fill=1)  # type: ignore[attr-defined]

    def _disc(self, pen: ImageDraw.ImageDraw, x: float, y: float, radius: float) -> None:
        column, row, r = x * MM, -y * MM, radius * MM
        pen.ellipse([column - r, row - r, column + r, row + r], fill=1)

    def _line(self, pen: ImageDraw.ImageDraw, line: object) -> None:
        x1, y1, x2, y2, width = (getattr(line, n) for n in ("x1", "y1", "x2", "y2", "width"))
        pen.line([self._pixel(x1, y1), self._pixel(x2, y2)], fill=1, width=max(1, round(width * MM)))
        for x, y in ((x1, y1), (x2, y2)):
            self._disc(pen, x, y, width / 2)

    def _rectangle(self, pen: ImageDraw.ImageDraw, box: object) -> None:
        x, y, w, h, turn = (getattr(box, n) for n in ("x", "y", "w", "h", "rotation"))
        c, s = math.cos(turn), math.sin(turn)
        corners = [(w / 2 * a, h / 2 * b) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
        pen.polygon([self._pixel(x + c * a - s * b, y + s * a + c * b) for a, b in corners], fill=1)

    def _joined(self, labels: list[np.ndarray]) -> list[np.ndarray]:
        """Pieces of all layers, joined where a plated hole meets them."""
        starts = np.cumsum([0, *(int(part.max()) for part in labels)])
        pairs = []
        for x, y in self.holes:
            column, row = self._pixel(x, y)
            met = [
                int(part[row, column]) + int(starts[i]) for i, part in enumerate(labels) if part[row, column]
            ]
            pairs += [(met[0], other) for other in met[1:]]
        a, b = np.array(pairs).T
        count = int(starts[-1]) + 1
        _, group = connected_components(
            coo_matrix((np.ones(len(a)), (a, b)), shape=(count, count)), directed=False
        )
        return [np.where(part > 0, group[part + starts[i]] + 1, 0) for i, part in enumerate(labels)]
