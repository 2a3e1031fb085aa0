"""The report as one HTML page that needs nothing else: no network, no scripts, clips and plots inside."""

import base64
import hashlib
from importlib.resources import files

from audiotest import __version__
from audiotest.errors import RequestError
from audiotest.extras import how_to_install
from audiotest.keep.drawing import Drawing, svg
from audiotest.keep.report import VERDICT_WORDS, Report
from audiotest.keep.sheetrecords import STAGE_WORDS, STAGES


def report_page(report: Report) -> str:
    """Lay the report out as HTML.

    Everything typed is escaped (Jinja2's autoescape; the drawings escape their own texts). A strict
    Content Security Policy stands behind that: only this page's own style sheet, by its hash, and data
    inside the page are let through (https://www.w3.org/TR/CSP3/, from memory).

    Raises
    ------
    RequestError
        Jinja2 is not installed.
    """
    try:
        from jinja2 import Environment, StrictUndefined
        from markupsafe import Markup
    except ImportError as error:
        raise RequestError(
            f"a report needs {error.name}, which is not installed",
            how_to_install("report"),
        ) from error

    def drawn(drawing: Drawing) -> Markup:
        return Markup(svg(drawing))

    pages = files("audiotest.keep").joinpath("pages")
    style = pages.joinpath("report.css").read_text(encoding="utf-8")
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    template = environment.from_string(pages.joinpath("report.html").read_text(encoding="utf-8"))
    return template.render(
        report=report,
        style=Markup(style),
        style_sha256=base64.b64encode(hashlib.sha256(style.encode()).digest()).decode(),
        svg=drawn,
        base64=lambda content: base64.b64encode(content).decode(),
        stages=STAGES,
        stage_words=STAGE_WORDS,
        verdicts=VERDICT_WORDS,
        version=__version__,
    )
