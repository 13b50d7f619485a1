"""The step kind `text`: something that a person writes down."""

from __future__ import annotations

from typing import ClassVar, Literal

from ohmwright.engine.answered_step import AnsweredStep
from ohmwright.instruments.answer_requests import TypeText
from ohmwright.model.result import Result


class TextStep(AnsweredStep):
    """Words for the record, such as the state of the accessories; judges nothing."""

    answers_in_words: ClassVar[bool] = True
    kind: Literal["text"]

    def request(self, *, rf_follows: bool) -> TypeText:
        """Return the request for the words."""
        return TypeText(self.prompt, rf_follows)

    def judged(self, said: str, result: Result) -> Result:
        """Return the result with the words as its reason, where tables have room for them."""
        return result.model_copy(update={"reason": said})
