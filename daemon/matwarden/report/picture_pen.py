"""The pen a picture is drawn with: a sheet as wide as a phone, in CSS pixels, that grows downwards as it is drawn on.

Matplotlib is used by its objects alone: no window, no state of the process, the same bytes for the same night. Every
text is measured with the font it is drawn in.
"""

from __future__ import annotations

import io
import math
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Literal

import matplotlib
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Text
from PIL import Image

__all__ = ["FAINT", "INK", "PAPER", "WIDTH", "Dash", "Pen", "png"]

WIDTH = 360.0
"""The narrowest phone in use, in CSS pixels; drawn three times as fine."""
_FINE = 3
# With 72 points to the inch one point is one CSS pixel, so that sizes of text and lines are those of the phone.
_POINTS = 72.0
_COLOURS = 128
_BAND_HIGH = 256
# Those that come with the library, by their files: the machine's own, of whatever age, would measure otherwise.
_FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"

INK = "#000000"
FAINT = "#4d4d4d"
PAPER = "#ffffff"

# Strokes and gaps in units of the line's width; None: unbroken.
Dash = tuple[float, ...] | None
Align = Literal["left", "center", "right"]


class Pen:
    """Draws on a sheet whose top left corner is 0, 0 and whose height is told at the end. All lengths in CSS pixels."""

    def __init__(self) -> None:
        self._figure = Figure(figsize=(WIDTH / _POINTS, 1.0), dpi=_POINTS * _FINE, facecolor=PAPER)
        self._canvas = FigureCanvasAgg(self._figure)
        self._axes = self._figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self._axes.set_axis_off()
        self._axes.set_xlim(0.0, WIDTH)
        self._measure: RendererAgg = self._canvas.get_renderer()  # type: ignore[no-untyped-call]

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        *,
        bold: bool = False,
        colour: str = INK,
        align: Align = "left",
    ) -> None:
        """Write one line; `y` is its base line, `align` what `x` is of it: left, center or right."""
        artist = Text(x, y, text, color=colour, horizontalalignment=align, fontproperties=_font(size, bold))
        # A dollar sign in a name is no formula.
        artist.set_parse_math(False)
        self._axes.add_artist(artist)

    def width(self, text: str, size: float, *, bold: bool = False) -> float:
        """How wide the text comes out."""
        with _any_letter():
            font = _font(size, bold)
            extent = self._measure.get_text_width_height_descent(text, font, False)  # type: ignore[no-untyped-call]
        return float(extent[0]) / _FINE

    def cut(self, text: str, width: float, size: float, *, bold: bool = False) -> str:
        """The text, cut to this width with three dots where it is too long."""
        if self.width(text, size, bold=bold) <= width:
            return text
        while text and self.width(f"{text}…", size, bold=bold) > width:
            text = text[:-1]
        return f"{text.rstrip()}…"

    def wrapped(self, text: str, width: float, size: float, *, bold: bool = False) -> list[str]:
        """The text in lines of at most this width, broken between words; a longer word is cut."""
        lines: list[str] = []
        for word in text.split():
            longer = f"{lines[-1]} {word}" if lines else word
            if lines and self.width(longer, size, bold=bold) <= width:
                lines[-1] = longer
            else:
                lines.append(self.cut(word, width, size, bold=bold))
        return lines

    def box(
        self, x: float, y: float, width: float, height: float, fill: str, *, edge: str | None = None, hatch: str = ""
    ) -> None:
        """A filled rectangle, with an edge or hatched where asked."""
        look = {"facecolor": fill, "edgecolor": edge or "none", "linewidth": 0.6 if edge else 0.0}
        self._axes.add_artist(Rectangle((x, y), width, height, hatch=hatch or None, **look))  # type: ignore[arg-type]

    def boxes(self, spans: Sequence[tuple[float, float]], y: float, height: float, fill: str) -> None:
        """Many filled rectangles side by side: each from x to x."""
        corners = [((a, y), (b, y), (b, y + height), (a, y + height)) for a, b in spans]
        self._axes.add_artist(PolyCollection(corners, facecolors=fill, linewidths=0.0))

    def line(self, xs: Sequence[float], ys: Sequence[float], colour: str, width: float, dash: Dash = None) -> None:
        """A line through these points, interrupted where one is not a number."""
        style = "-" if dash is None else (0.0, dash)
        artist = Line2D(xs, ys, color=colour, linewidth=width, linestyle=style)  # type: ignore[arg-type]
        artist.set_dash_capstyle("butt")
        artist.set_solid_capstyle("butt")
        artist.set_solid_joinstyle("round")
        self._axes.add_artist(artist)

    def area(self, xs: Sequence[float], lows: Sequence[float], highs: Sequence[float], colour: str) -> None:
        """A light shade of this colour between two lines over the same x."""
        outline = [*zip(xs, lows, strict=True), *zip(xs[::-1], highs[::-1], strict=True)]
        self._axes.add_artist(PolyCollection([outline], facecolors=colour, linewidths=0.0, alpha=0.3))

    def sheet(self, height: float) -> Figure:
        """What was drawn, cut off at this height."""
        height = math.ceil(height)
        self._figure.set_size_inches(WIDTH / _POINTS, height / _POINTS)
        self._axes.set_ylim(height, 0.0)
        return self._figure


def png(sheet: Figure) -> bytes:
    """The sheet as a PNG file that says nothing but what is on it: the same sheet gives the same bytes."""
    canvas = FigureCanvasAgg(sheet)
    with matplotlib.rc_context({"hatch.linewidth": 0.8}), _any_letter():
        canvas.draw()  # type: ignore[no-untyped-call]
    # The library's own memory, not copied.
    image = Image.frombuffer("RGBA", canvas.get_width_height(), canvas.buffer_rgba())  # type: ignore[no-untyped-call]
    file = io.BytesIO()
    _few_colours(image).save(file, "PNG", optimize=True)
    return file.getvalue()


def _few_colours(image: Image.Image) -> Image.Image:
    """The image with a palette: a third of the bytes, for it goes to a phone on the road.

    The palette is that of every ninth pixel, and laid on band by band: of all at once it would take 50 MB more.
    """
    width, height = image.size
    sample = image.resize((width // _FINE, height // _FINE), Image.Resampling.NEAREST).convert("RGB")
    palette = sample.quantize(_COLOURS, Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
    few = Image.new("P", image.size)
    # What is all but black or white is meant to be.
    few.putpalette([0 if part < 6 else 255 if part > 249 else part for part in palette.getpalette() or ()])
    for top in range(0, height, _BAND_HIGH):
        band = image.crop((0, top, width, min(top + _BAND_HIGH, height))).convert("RGB")
        few.paste(band.quantize(palette=palette, dither=Image.Dither.NONE), (0, top))
    return few


@contextmanager
def _any_letter() -> Iterator[None]:
    """A letter that the font lacks is drawn as a box; the library's warning of it helps no keeper."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")
        yield


def _font(size: float, bold: bool) -> FontProperties:
    return FontProperties(fname=str(_FONTS / ("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf")), size=size)
