"""A notebook's kernel answers as the server does."""
import json
import queue

from experiments.bench.answers.turned import turned
from experiments.bench.replies import Replies
from experiments.bench.wire import unpacked
from tests.experiments.bench.helper import SETUP, asked


def test_it_begins_answers_and_hands_on():
    heard = queue.Queue()
    replies = Replies(SETUP, lambda answer: heard.put(unpacked(answer)))
    replies.receive(json.dumps({"slot": "begin"}))
    assert [heard.get(timeout=5).head["slot"] for _ in range(3)] == ["known", "state", "state"]
    replies.receive(json.dumps({"slot": "own", "number": 3, "settings": {"controller.kp": 0.02}}))
    found = heard.get(timeout=5)
    wanted = turned(asked(settings={"controller.kp": 0.02})).head["loop"]["figures"]
    assert found.head["number"] == 3 and found.head["loop"]["figures"] == wanted | {
        name: str(value) for name, value in wanted.items() if value == float("inf")}
    replies.receive(json.dumps({"slot": "check", "number": 4, "want": "check", "settings": {"valve.kind": "x.py:X"}}))
    assert "only built-in kinds" in heard.get(timeout=5).head["error"]
    replies.receive(json.dumps({"slot": "check", "number": 5, "want": "compile"}))
    assert heard.get(timeout=90).head["compiled"]
    replies.close()
