"""Back ends for the Fenwater Stilt 3 and the Dunlow Marrick 120."""

import json
from itertools import count
from typing import Any

from ohmwright.back_ends import (
    AnalyzerBackEnd,
    BackEnd,
    GeneratorBackEnd,
    InstrumentRefused,
    Options,
    Reading,
    ReleaseOrders,
    plain_orders,
)


class Numbered(BackEnd):
    """Messages with a number that the reply repeats."""

    numbers = count(300)

    def say(
        self,
        do: str,
        number: int | None = None,
        **more: object,
    ) -> dict[str, Any]:
        number = next(self.numbers) if number is None else number
        message = json.dumps({"id": number, "do": do, **more}) + "\n"
        said = self.line.ask(message.encode(), b"\n")
        reply: dict[str, Any] = json.loads(said)
        if reply.get("id") != number:
            raise ValueError(f"{reply} does not answer message {number}")
        if "no" in reply:
            raise InstrumentRefused(f"It refused '{do}': {reply['no']}.")
        return reply

    def identify(self) -> str:
        return str(self.say("name")["name"])

    def resynchronise(self, nonce: int) -> int:
        return int(self.say("name", number=nonce)["id"])


class StiltOptions(Options):
    longest_s: float


class Stilt(Numbered, AnalyzerBackEnd):
    Options = StiltOptions

    @classmethod
    def release_orders(cls, options: StiltOptions) -> ReleaseOrders:
        return plain_orders(
            off=b'{"id": 0, "do": "open"}\n',
            question=b'{"id": 0, "do": "contact"}\n',
            off_replies=[b'{"id": 0, "contact": "open"}'],
            off_answer=b'{"id": 0}',
            unfinished=b"\n",
        )

    def set_load(self, load_ohm: float) -> None:
        self.say("load", ohm=load_ohm)

    def load(self) -> float:
        return float(self.say("load")["ohm"])

    def sent_limit_s(self, limit_s: float) -> float:
        return min(limit_s, float(self.options.longest_s))

    def on(self, limit_s: float) -> None:
        self.say("close", s=limit_s)

    def remaining(self) -> float:
        return float(self.say("left")["s"])

    def fetch_current(self) -> Reading:
        reply = self.say("read")
        return Reading(reply["ma"], reply["n"])


class Marrick(Numbered, GeneratorBackEnd):
    def select_mode(self, mode: str) -> None:
        self.say("mode", mode=mode)

    def set_power(self, setting_w: float) -> None:
        self.say("power", w=setting_w)

    def service_on(self) -> None:
        self.say("service", on=True)

    def service_off(self) -> None:
        self.say("service", on=False)

    def set_point(self, point: str) -> None:
        self.say("point", point=point)

    def trim(self) -> int:
        return int(self.say("trim")["counts"])

    def set_trim(self, counts: int) -> None:
        self.say("trim", counts=counts)

    def store(self) -> None:
        self.say("store")
