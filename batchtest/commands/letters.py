"""Outcomes as large words and shapes of block characters, to be read across a workshop."""

from __future__ import annotations

from batchtest.nouns import Outcome

#: Five rows of five pixels for each letter that an outcome's word needs.
_LETTERS = {
    "A": " ### |#   #|#####|#   #|#   #",
    "B": "#### |#   #|#### |#   #|#### ",
    "D": "#### |#   #|#   #|#   #|#### ",
    "E": "#####|#    |#### |#    |#####",
    "F": "#####|#    |#### |#    |#    ",
    "I": "###| # | # | # |###",
    "L": "#    |#    |#    |#    |#####",
    "O": " ### |#   #|#   #|#   #| ### ",
    "P": "#### |#   #|#### |#    |#    ",
    "R": "#### |#   #|#### |#  # |#   #",
    "S": " ####|#    | ### |    #|#### ",
    "T": "#####|  #  |  #  |  #  |  #  ",
    "U": "#   #|#   #|#   #|#   #| ### ",
}
#: Tick, cross, half-moon, square, barred circle.
_SHAPES = {
    Outcome.PASS: "      #|     # |#   #  | # #   |  #    ",
    Outcome.FAIL: "#   #| # # |  #  | # # |#   #",
    Outcome.DOUBTFUL: " ### |### #|### #|### #| ### ",
    Outcome.STOPPED: "#####|#####|#####|#####|#####",
    Outcome.REFUSED: " ### |#  ##|# # #|##  #| ### ",
}


def large(outcome: Outcome, width: int, block: str = "█") -> list[str]:
    """Shape and word of an outcome in five rows, each pixel two characters wide where `width` allows, else one."""
    word = outcome.value.upper()
    rows = [
        "  ".join((shape, " ".join(letters)))
        for shape, *letters in zip(
            _SHAPES[outcome].split("|"), *(_LETTERS[letter].split("|") for letter in word), strict=True
        )
    ]
    pixels = 2 if 2 * max(map(len, rows)) <= width else 1
    return ["".join(block * pixels if pixel == "#" else " " * pixels for pixel in line) for line in rows]
