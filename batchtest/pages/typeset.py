"""From values to a PDF/A: the typesetter, its fonts, and letters that none of them has."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable, Mapping
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from batchtest.errors import SetupError

if TYPE_CHECKING:
    import typst

_TEMPLATES = Path(__file__).parent / "templates"
#: Archivable, tagged, every letter with its Unicode: ISO 19005-2, level A.
STANDARD: Final = "a-2a"
_CURE = "a certificate needs the extra pdf; install it: pip install 'batchtest[pdf]'"
#: The longest word that is not given places to break.
_LONG_WORD = 28
#: What is no text for people: a drawing, and hashes, which are copied and compared.
_VERBATIM = ("qr", "sha256")
_UNSHOWN = re.compile(r'the text `"(.*)"` could not be displayed', re.DOTALL)
_ESCAPED = re.compile(r"\\u\{([0-9a-f]+)\}")


def pdf(template: str, values: Mapping[str, Any]) -> bytes:
    """Fill a template of `templates/` and set it; the same values give the same bytes.

    Letters that the typesetter's own fonts lack are taken from those of this computer, and written as their code point
    where it has none either: a PDF/A shows every letter, or is none.

    Raises
    ------
    SetupError : the extra `pdf` is not installed; says the line that does it.
    """
    try:
        import typst
    except ImportError as error:
        raise SetupError(_CURE) from error
    source, known = (_TEMPLATES / template).read_bytes(), _strings(values, _breakable)
    try:
        return _compiled(source, known, system=False)
    except typst.TypstError as error:
        if not _unshown(error):
            raise
    while True:
        try:
            return _compiled(source, known, system=True)
        except typst.TypstError as error:
            letters, before = _unshown(error), known
            known = _strings(known, partial(_spelled, letters=letters))
            if known == before:
                raise


def qr_svg(text: str) -> str:
    """A QR code of a text as an SVG drawing, black on nothing, without a border.

    Raises
    ------
    SetupError : the extra `pdf` is not installed.
    """
    try:
        import segno
    except ImportError as error:
        raise SetupError(_CURE) from error
    drawn = io.BytesIO()
    segno.make(text, error="m", micro=False).save(drawn, kind="svg", border=0, xmldecl=False)
    return drawn.getvalue().decode()


def _compiled(source: bytes, values: Any, *, system: bool) -> bytes:
    import typst

    compiler = typst.Compiler(source, font_paths=_fonts(system=system), ignore_system_fonts=not system)
    inputs = {"data": json.dumps(values)}
    made = compiler.compile(source, format="pdf", sys_inputs=inputs, pdf_standards=[STANDARD])
    assert isinstance(made, bytes)
    return made


@cache
def _fonts(*, system: bool) -> typst.Fonts:
    import typst

    return typst.Fonts(include_system_fonts=system)


def _unshown(error: typst.TypstError) -> str:
    """The letters that no font has; empty where the error is another."""
    found = _UNSHOWN.search(error.message)
    return _ESCAPED.sub(lambda code: chr(int(code[1], 16)), found[1]) if found else ""


def _spelled(text: str, letters: str) -> str:
    return "".join(f"[U+{ord(letter):04X}]" if letter in letters else letter for letter in text)


def _breakable(text: str) -> str:
    """A text whose long words may break; what cannot be printed at all is spelled by its code point."""
    shown = "".join(
        letter if letter.isprintable() else " " if letter.isspace() else _spelled(letter, letter) for letter in text
    )
    return re.sub(rf"\S{{{_LONG_WORD}}}(?=\S)", lambda word: word[0] + "\u200b", shown)


def _strings(value: Any, change: Callable[[str], str]) -> Any:
    """The same values with every string changed; keys stay."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, Mapping):
        return {key: each if key in _VERBATIM else _strings(each, change) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_strings(each, change) for each in value]
    return value
