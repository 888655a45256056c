"""A screen whose person has the answers ready, for tests of what is asked."""

from __future__ import annotations

from collections.abc import Sequence

from batchtest.commands.screen import SilentScreen


class Asked(SilentScreen):
    """Keeps what is said, and answers in turn; a question too many is an error."""

    def __init__(self, answers: Sequence[str] = ()) -> None:
        self.answers = list(answers)
        self.questions: list[str] = []
        self.said: list[str] = []

    def message(self, text: str) -> None:
        """Keep it."""
        self.said.append(text)

    def ask(self, prompt: str) -> str:
        """The next answer."""
        self.questions.append(prompt)
        return self.answers.pop(0)
