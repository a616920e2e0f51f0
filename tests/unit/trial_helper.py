"""Stands in for the helper in test_contained_frames.py: does what a hostile file makes a library do."""

from __future__ import annotations

import os
import time

from polewright.services.contained import helper
from polewright.services.contained.ceiling import Budget, held_to
from polewright.services.contained.wire import Message

SIZE = 1 << 20


def answer(asked: Message, held: helper.Held) -> tuple[Message, helper.Held]:
    body = asked.body
    with held_to(Budget(max(body["work_s"], 0.1), body["bytes"])):
        if body["do"] == "work":
            end = time.process_time() + body["amount"]
            while time.process_time() < end:
                pass
        elif body["do"] == "sleep":
            time.sleep(body["amount"])
        elif body["do"] == "allocate":
            bytearray(int(body["amount"]))
        elif body["do"] == "abort":
            os.abort()
        elif body["do"] == "print":
            print("chatter of a library", flush=True)
            os.write(1, b"and of a native one")
    return Message({"done": body["do"]}), held


helper._answer = answer
raise SystemExit(helper.serve())
