"""Are the examples of the description what a real service takes and answers?

One run sends them in their order. To record the answers anew after a wanted change:
SOLESPAN_TEST_RECORD=1 pytest tests/api/service/test_examples.py
"""

from __future__ import annotations

import json
import os
from collections import defaultdict
from pathlib import Path

import jsonschema_rs
import pytest

from solespan.api.routes.edge import examples

FILE = Path(examples.__file__).with_name("examples.json")
MOST_ITEMS, MOST_NUMBERS = 1, 12


def shortened(value):
    """Keep one object of a list, and a dozen numbers."""
    if isinstance(value, dict):
        return {name: shortened(below) for name, below in value.items()}
    if isinstance(value, list):
        most = MOST_ITEMS if any(isinstance(v, dict) for v in value) else MOST_NUMBERS
        return [shortened(below) for below in value[:most]]
    return value


def shape(value):
    """Keep names and kinds: dates and numbers of a forecast may move a little."""
    if isinstance(value, dict):
        return {name: shape(below) for name, below in value.items()}
    if isinstance(value, list):
        return "list"
    return "flag" if isinstance(value, bool) else "scalar"


class Run:
    """The steps in their order, against one service that keeps what earlier steps made."""

    def __init__(self, client, document):
        self.client, self.components = client, document["components"]
        self.known = defaultdict(str)
        self.operations = {
            operation["operationId"]: (method.upper(), operation)
            for methods in document["paths"].values()
            for method, operation in methods.items()
        }

    def send(self, step):
        method, operation = self.operations[step["operation"]]
        version = step.get("version", "*")
        headers = {"if-match": version if version == "*" else f'"{version}"'}
        given = {}
        if "names" in step:
            pairs = zip(step["names"], step["request"]["files"], strict=True)
            given["files"] = [("files", (name, text.encode())) for name, text in pairs]
        elif "request" in step:
            (headers["content-type"],) = operation["requestBody"]["content"]
            given["content"] = json.dumps(step["request"])
        address = step["address"].format_map(self.known)
        return self.client.request(method, address, headers=headers, **given)

    def remember(self, body):
        items = body.get("items") or [{}]
        for found in (*items[:1], body):
            self.known |= {k: v for k, v in found.items() if k.endswith("_id") or k == "path"}

    def problems(self, step, answer, body):
        name = step["operation"]
        if step["status"] != answer.status_code:
            yield f"{name}: {answer.status_code}, not {step['status']}: {answer.text}"
        elif body is not None:
            responses = self.operations[name][1]["responses"]
            schema = responses[str(answer.status_code)]["content"]["application/json"]["schema"]
            described = jsonschema_rs.validator_for({"components": self.components, **schema})
            for one in (body, step["answer"]):
                yield from (f"{name}: {error}" for error in described.iter_errors(one))
            if shape(body) != shape(step["answer"]):
                yield f"{name}: the answer has another shape"


@pytest.mark.slow
def test_every_example_is_taken_and_answered_as_described(fitted, app):
    steps = json.loads(FILE.read_text("utf-8"))
    run, problems = Run(fitted, app.openapi()), []
    for step in steps:
        answer = run.send(step)
        is_json = answer.headers.get("content-type") == "application/json"
        body = answer.json() if is_json else None
        if isinstance(body, dict):
            run.remember(body)
        if os.environ.get("SOLESPAN_TEST_RECORD") and answer.is_success:
            step["status"] = answer.status_code
            if is_json:
                step["answer"] = shortened(body)
        problems += run.problems(step | {"status": step.get("status", 200)}, answer, body)
    if os.environ.get("SOLESPAN_TEST_RECORD"):
        FILE.write_text(json.dumps(steps, indent=1, ensure_ascii=False) + "\n", "utf-8")
    assert not problems, "\n".join(problems)


# What needs a photograph, a look back, a notice on its way, or a person who signed in.
WITHOUT = {
    *("create_photo", "read_photo", "delete_photo"),
    *("add_pair_photograph", "read_pair_photograph", "remove_pair_photograph"),
    *("read_past_forecasts", "create_notice_run", "read_notice", "retry_notice"),
    *("make_key", "revoke_key", "remove_member", "withdraw_invitation"),
    *("read_sessions", "end_session", "end_other_sessions", "end_sessions_of_member"),
    *("read_second_factor", "make_seed", "add_authenticator"),
    *("remove_second_factor", "make_recovery_codes"),
    *("move_wear_day", "move_check"),
    "create_agreement",  # it needs a pair whose sole is due
    *("read_hook_secret", "rotate_hook_secret"),  # their answers are secrets of the moment
}


def test_every_operation_but_the_named_ones_has_an_example(app):
    document = app.openapi()
    names = {o["operationId"] for methods in document["paths"].values() for o in methods.values()}
    told = {step["operation"] for step in json.loads(FILE.read_text("utf-8"))}
    assert names - told == WITHOUT
    assert told <= names
