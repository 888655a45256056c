"""The shapes of verdicts and outcomes: told apart without colour, at two metres, and on a grey print."""

from __future__ import annotations

from markupsafe import Markup

#: Drawn once on a page as `<symbol>`; 24 x 24, colours from the style sheet.
SYMBOLS: dict[str, str] = {
    "pass": '<circle cx="12" cy="12" r="11" class="ink-pass"/><path d="M6 12.5l4.3 4.3L18 8.2" class="cut"/>',
    "fail": '<circle cx="12" cy="12" r="10.2" class="ink-fail"/><path d="M7.5 7.5l9 9m0-9l-9 9" class="stroke"/>',
    "doubtful": '<circle cx="12" cy="12" r="10" class="ring"/><path d="M12 2a10 10 0 0 0 0 20z" class="ink"/>',
    "unread": '<circle cx="12" cy="12" r="10" class="dashed"/><path d="M7.5 12h9" class="stroke"/>',
    "stopped": '<rect x="2" y="2" width="20" height="20" rx="1.5" class="ink-stopped"/>',
    "refused": '<circle cx="12" cy="12" r="9.8" class="ring thick"/><path d="M5.2 18.8L18.8 5.2" class="stroke"/>',
}


def symbols() -> Markup:
    """The hidden drawing that holds every shape and the hatching of guard strips; once a page, at its top."""
    shapes = "".join(
        f'<symbol id="mark-{name}" viewBox="0 0 24 24">{shape}</symbol>' for name, shape in SYMBOLS.items()
    )
    hatch = (
        '<pattern id="hatch" width="4" height="4" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<path d="M0 0v4" class="hatching"/></pattern>'
    )
    return Markup(f'<svg class="symbols" width="0" height="0" aria-hidden="true"><defs>{hatch}</defs>{shapes}</svg>')


def mark(name: str) -> Markup:
    """The shape of a verdict or outcome. Always beside its word, so it is silent for screen readers.

    Raises
    ------
    KeyError : there is no such shape.
    """
    SYMBOLS[name]
    return Markup(f'<svg class="mark" aria-hidden="true" focusable="false"><use href="#mark-{name}"/></svg>')
