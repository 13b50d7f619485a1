"""The step kind `choice`: one of several words, of which some pass."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field, model_validator

from ohmwright.engine.answered_step import AnsweredStep
from ohmwright.instruments.answer_requests import ChooseWord
from ohmwright.instruments.requests import is_reserved
from ohmwright.model.result import Result

Word = Annotated[str, Field(pattern=r"^[a-z][a-z0-9 _.-]{0,30}$")]


class ChoiceStep(AnsweredStep):
    """A question with several answers; those in `passing` pass, the others fail."""

    answers_in_words: ClassVar[bool] = True
    kind: Literal["choice"]
    choices: Annotated[tuple[Word, ...], Field(min_length=2, max_length=9)]
    passing: Annotated[tuple[Word, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _words_fit(self) -> ChoiceStep:
        if len(set(self.choices)) < len(self.choices):
            raise ValueError("choices has a word twice")
        for word in self.passing:
            if word not in self.choices:
                raise ValueError(f"passing has '{word}', which is none of the choices")
        for word in self.choices:
            if is_reserved(word):
                raise ValueError(f"'{word}' is what every request takes; choose another word")
        return self

    def request(self, *, rf_follows: bool) -> ChooseWord:
        """Return the request for one of the words."""
        return ChooseWord(self.prompt, self.choices, rf_follows)

    def judged(self, said: str, result: Result) -> Result:
        """Return the result: pass for a word in `passing`."""
        return result.model_copy(update={"verdict": "pass" if said in self.passing else "fail"})
