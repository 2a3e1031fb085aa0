"""The report as a PDF for paper: the same contents as the page, laid out with fpdf2 alone.

fpdf2 is plain Python, so a PDF can be made on every system without a browser or a print system; Noto
Sans comes along as a package, since the fonts that PDF readers bring know Western European letters only.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib.resources import as_file, files
from io import BytesIO
from itertools import zip_longest
from typing import TYPE_CHECKING, Any, Literal

from audiotest import __version__
from audiotest.errors import RequestError
from audiotest.extras import how_to_install
from audiotest.keep.drawing import COLOURS, Box, Dot, Drawing, Line, Shape
from audiotest.keep.report import VERDICT_WORDS, Cell, Report
from audiotest.keep.sheetrecords import STAGE_WORDS, STAGES

if TYPE_CHECKING:
    from fpdf import FPDF

Paper = Literal["a4", "letter"]
PAPERS: tuple[Paper, ...] = ("a4", "letter")
MARGIN_MM = 12.0
TEXT_PT = 9.5
SMALL_PT = 8.0
HEADING_PT = 11.5
TITLE_PT = 17.0
LINE_FACTOR = 0.46
"""Millimetres of line height for each point of type."""
GREY = 90
FONT = "report"
REPLACEMENT = "?"


def report_pdf(report: Report, paper: Paper = "a4") -> bytes:
    """Lay the report out as a PDF.

    Raises
    ------
    RequestError
        fpdf2 or the font is not installed.
    """
    try:
        from fpdf import FPDF

        font = files("fontpkg_noto_sans").joinpath("files", "NotoSans[wdth,wght].ttf")
    except ImportError as error:
        raise RequestError(
            f"a PDF needs {error.name}, which is not installed",
            how_to_install("report") + ", or make an HTML report",
        ) from error
    pdf = FPDF(orientation="portrait", unit="mm", format=paper)
    with as_file(font) as path:
        pdf.add_font(FONT, "", path)
        sheet = _Paper(pdf)
        pdf.set_title(sheet.known(report.title))
        pdf.set_creator(f"audiotest {__version__}")
        _lay_out(sheet, report)
        return bytes(pdf.output())


class _Paper:
    """A PDF that is written from top to bottom."""

    def __init__(self, pdf: "FPDF") -> None:
        self.pdf = pdf
        pdf.set_margin(MARGIN_MM)
        pdf.set_auto_page_break(True, MARGIN_MM)
        pdf.c_margin = 0.0
        pdf.add_page()
        self._known = set(getattr(pdf.fonts[FONT], "cmap", ()))

    @property
    def width(self) -> float:
        return float(self.pdf.epw)

    def known(self, text: str) -> str:
        """A text without signs that the font lacks."""
        return "".join(sign if ord(sign) in self._known or sign in "\n" else REPLACEMENT for sign in text)

    def font(self, size: float, grey: int = 28) -> None:
        self.pdf.set_font(FONT, "", size)
        self.pdf.set_text_color(grey)

    @contextmanager
    def heavy(self, on: bool = True) -> Iterator[None]:
        """Bold, by drawing the outlines as well: making a bold of the variable font takes too long."""
        if not on:
            yield
            return
        colour = self.pdf.text_color
        with self.pdf.local_context(text_mode="FILL_STROKE", line_width=0.12, draw_color=colour):
            yield

    def text(self, text: str, size: float = TEXT_PT, *, grey: int = 28, heavy: bool = False) -> None:
        """Write a paragraph over the whole width."""
        self.font(size, grey)
        with self.heavy(heavy):
            self.pdf.multi_cell(
                0, size * LINE_FACTOR, self.known(text), align="L", new_x="LMARGIN", new_y="NEXT",

            )  # fmt: skip

    def heading(self, text: str, room_mm: float = 25.0) -> None:
        """Write a heading that does not stay alone at the foot of a page."""
        self.pdf.ln(2.0)
        if self.pdf.will_page_break(room_mm):
            self.pdf.add_page()
        self.text(text, HEADING_PT, heavy=True)
        y = self.pdf.get_y() + 0.5
        self.pdf.set_draw_color(200)
        self.pdf.set_line_width(0.2)
        self.pdf.line(MARGIN_MM, y, MARGIN_MM + self.width, y)
        self.pdf.ln(1.4)

    def pairs(self, pairs: Sequence[tuple[str, str]], label_mm: float = 32.0) -> None:
        """Write labels and texts side by side."""
        for label, text in pairs:
            self.row([(label, label_mm, GREY), (text, self.width - label_mm, 28)], TEXT_PT)

    def pairs_in_two(self, pairs: Sequence[tuple[str, str]], label_mm: float = 20.0) -> None:
        """Write labels and texts in two columns, first down and then across."""
        rows = (len(pairs) + 1) // 2
        text_mm = self.width / 2 - label_mm
        for left, right in zip_longest(pairs[:rows], pairs[rows:], fillvalue=("", "")):
            self.row(
                [(left[0], label_mm, GREY), (left[1], text_mm, 28), (right[0], label_mm, GREY),
                 (right[1], text_mm, 28)],
                TEXT_PT,
            )  # fmt: skip

    def row(self, cells: Sequence[tuple[str, float, int]], size: float, *, rule: bool = False) -> None:
        """Write one row of wrapped texts, each with its width and grey; it is never torn over two pages."""
        height = self.row_height([(text, width) for text, width, _ in cells], size)
        if self.pdf.will_page_break(height):
            self.pdf.add_page()
        x, y = MARGIN_MM, self.pdf.get_y()
        for text, width, grey in cells:
            self.pdf.set_xy(x, y)
            self.font(size, grey)
            with self.heavy(text.split("\n")[0].endswith("  FAIL")):
                self.pdf.multi_cell(width - 1.5, size * LINE_FACTOR, self.known(text), align="L")
            x += width
        self.pdf.set_xy(MARGIN_MM, y + height)
        if rule:
            self.pdf.set_draw_color(215)
            self.pdf.set_line_width(0.1)
            self.pdf.line(MARGIN_MM, y + height, MARGIN_MM + self.width, y + height)
            self.pdf.ln(0.8)

    def row_height(self, cells: Sequence[tuple[str, float]], size: float) -> float:
        self.font(size)
        heights: list[Any] = [
            self.pdf.multi_cell(
                width - 1.5, size * LINE_FACTOR, self.known(text), align="L", dry_run=True, output="HEIGHT",

            )
            for text, width in cells
        ]  # fmt: skip
        return float(max(heights, default=0.0)) + 0.6


def _lay_out(sheet: _Paper, report: Report) -> None:
    sheet.text(report.title, TITLE_PT, heavy=True)
    sheet.text(report.summary, HEADING_PT, heavy=True)
    sheet.pdf.ln(1.5)
    sheet.pairs_in_two(report.facts)
    if report.rows:
        _table(sheet, report)
    if report.spoken:
        sheet.heading("Heard on the air")
        sheet.pairs(report.spoken)
    if report.clips:
        _clips(sheet, report)
    if report.drawings or report.pictures:
        _plots(sheet, report)
    if report.faults or report.parts:
        sheet.heading("Work done")
        sheet.pairs(report.faults, 60.0)
        if report.parts:
            sheet.text(f"Parts fitted: {'; '.join(report.parts)}.")
    sections = (
        ("How it was measured", tuple(line.replace("●", "*") for line in report.conditions)),
        ("Where the limits come from", report.sources),
        ("Remarks", report.remarks),
        ("Cautions", report.cautions),
    )
    for title, lines in sections:
        if lines:
            sheet.heading(title, 15.0)
            for line in lines:
                sheet.row([("•", 4.0, GREY), (line, sheet.width - 4.0, GREY)], SMALL_PT)
    sheet.pdf.ln(2.0)
    sheet.text(f"Made {report.made} with audiotest {__version__}.", SMALL_PT, grey=GREY)


def _table(sheet: _Paper, report: Report) -> None:
    sheet.heading("As found against as left")
    shares = (0.29, 0.28, 0.28, 0.15)
    widths = [share * sheet.width for share in shares]
    head = ("reading", STAGE_WORDS["found"], STAGE_WORDS["left"], "limit")
    sheet.row([(text, width, GREY) for text, width in zip(head, widths, strict=True)], TEXT_PT, rule=True)
    for row in report.rows:
        texts = (row.label, *(_cell_text(row.cells[stage]) for stage in STAGES), row.limit)
        sheet.row([(text, width, 28) for text, width in zip(texts, widths, strict=True)], TEXT_PT, rule=True)


def _cell_text(cell: Cell | None) -> str:
    if cell is None:
        return "not read"
    verdict = VERDICT_WORDS[cell.verdict]
    first = f"{cell.text}{' *' if cell.measured else ''}{f'  {verdict}' if verdict else ''}"
    return f"{first}\n{cell.words}" if cell.words else first


def _clips(sheet: _Paper, report: Report) -> None:
    sheet.heading("Clips (the HTML report plays them)", 18.0)
    for clip in report.clips:
        length = "" if clip.length_s is None else f", {clip.length_s:.1f} s"
        sheet.text(f"{STAGE_WORDS[clip.stage]}: {clip.title}{length}")
        if clip.heard:
            sheet.text(clip.heard, grey=GREY)
        if clip.trouble:
            sheet.text(f"No sound: {clip.trouble}.", grey=GREY)


def _plots(sheet: _Paper, report: Report) -> None:
    gap = 22.0
    width = (sheet.width - gap) / 2
    heights = [width * drawing.height / drawing.width + 6.0 for drawing in report.drawings]
    sheet.heading("Plots", max(heights, default=60.0) + 12.0)
    for first in range(0, len(report.drawings), 2):
        pair = report.drawings[first : first + 2]
        height = max(heights[first : first + 2])
        if sheet.pdf.will_page_break(height):
            sheet.pdf.add_page()
        top = sheet.pdf.get_y()
        for column, drawing in enumerate(pair):
            left = MARGIN_MM + column * (width + gap)
            sheet.pdf.set_xy(left, top)
            sheet.font(TEXT_PT)
            with sheet.heavy():
                sheet.pdf.cell(width, 5.0, sheet.known(drawing.title))
            _draw(sheet, drawing, left, top + 5.5, width / drawing.width)
        sheet.pdf.set_xy(MARGIN_MM, top + height)
    for picture in report.pictures:
        sheet.text(picture.title, heavy=True)
        sheet.pdf.image(BytesIO(picture.png), w=width, title=sheet.known(picture.title))


def _draw(sheet: _Paper, drawing: Drawing, left: float, top: float, scale: float) -> None:
    for shape in drawing.shapes:
        _draw_shape(sheet, shape, left, top, scale)
    sheet.pdf.set_dash_pattern()


def _draw_shape(sheet: _Paper, shape: Shape, left: float, top: float, scale: float) -> None:
    pdf = sheet.pdf
    colour = COLOURS[shape.ink]
    pdf.set_draw_color(colour)
    if isinstance(shape, Line):
        pdf.set_line_width(shape.width * scale)
        if shape.dashed:
            pdf.set_dash_pattern(dash=4 * scale, gap=3 * scale)
        pdf.polyline([(left + x * scale, top + y * scale) for x, y in shape.points])
        if shape.dashed:
            pdf.set_dash_pattern()
    elif isinstance(shape, Box):
        pdf.set_fill_color(colour)
        pdf.rect(
            left + shape.x * scale,
            top + shape.y * scale,
            shape.width * scale,
            shape.height * scale,
            style="F",
        )
    elif isinstance(shape, Dot):
        pdf.set_fill_color(colour if shape.full else "#ffffff")
        pdf.set_line_width(1.5 * scale)
        pdf.circle(left + shape.x * scale, top + shape.y * scale, shape.radius * scale, style="DF")
    else:
        pdf.set_font(FONT, "", shape.size * scale * 72.0 / 25.4)
        pdf.set_text_color(colour)
        text = sheet.known(shape.text)
        length = pdf.get_string_width(text)
        back = {"start": 0.0, "middle": length / 2, "end": length}[shape.anchor]
        x, y = left + shape.x * scale, top + shape.y * scale
        if shape.upright:
            with pdf.rotation(90, x, y):
                pdf.text(x - back, y, text)
        else:
            pdf.text(x - back, y, text)
