"""Bodies that are refused before a field is looked at."""

import json

import pytest

from tests.api.documents import assessment_document, with_literal
from tests.api.problems import assert_problem, fault_at
from tests.conftest import Api

MOST_BYTES = 5 * 1024 * 1024
BODIES = {
    "NaN": (with_literal(assessment_document(), "#/coil_temperature_c", "NaN"), "NaN"),
    "Infinity": (with_literal(assessment_document(), "#/coil_temperature_c", "Infinity"), "Infinity"),
    "minus Infinity": (with_literal(assessment_document(), "#/coil_temperature_c", "-Infinity"), "-Infinity"),
    "an exponent of 22 digits": (b'{"coil_temperature_c": 1e9999999999999999999999}', "exponent"),
    "a key twice": (b'{"rest": null, "rest": {}}', "'rest'"),
    "a key twice, deep inside": (b'{"rest": {"current_a": 0, "current_a": 1}}', "'current_a'"),
    "50,000 nested brackets": (b"[" * 50_000 + b"]" * 50_000, "32 levels"),
    "40 levels": (b'{"a":' * 40 + b"1" + b"}" * 40, "32 levels"),
    "40 levels of lists": (b'{"stage_readings":' + b"[" * 40 + b"]" * 40 + b"}", "32 levels"),
    "half a body": (b'{"rest": {"current_a": 0', "not JSON"),
    "two bodies": (b"{} {}", "not JSON"),
    "not UTF-8": (b'{"notes": "\xff\xfe"}', "utf-8"),
    "UTF-16": ('{"notes": ""}'.encode("utf-16"), "utf-8"),
    "U+0000 in a value": (rb'{"notes": "a\u0000b"}', "U+0000"),
    "U+0000 in a key": (rb'{"no\u0000tes": "a"}', "U+0000"),
    "half a surrogate pair": (rb'{"notes": "\ud83d"}', "surrogate"),
    "half a surrogate pair in a list": (rb'{"notes": [["\udc00"]]}', "surrogate"),
    "blanks": (b"   ", "not JSON"),
}


@pytest.mark.parametrize("address", ["assessments/", "inspections/", "inspections/bulk/"])
@pytest.mark.parametrize("name", BODIES)
def test_a_body_that_cannot_be_read_is_refused_as_a_whole(api: Api, address: str, name: str) -> None:
    body, said = BODIES[name]
    assert said in fault_at(api.post(address, body), "#")["detail"]


@pytest.mark.parametrize("body", ["[]", "[{}]", "5", "40.1", "null", "true", '"text"'])
@pytest.mark.parametrize("address", ["assessments/", "inspections/", "inspections/bulk/"])
def test_a_body_that_is_no_object_is_refused_as_a_whole(api: Api, address: str, body: str) -> None:
    fault_at(api.post(address, body.encode()), "#")


@pytest.mark.parametrize("body", [b"", b"{}"])
def test_an_empty_body_is_refused_at_every_field_that_is_needed(api: Api, body: bytes) -> None:
    errors = assert_problem(api.post("inspections/", body), 400)["errors"]
    needed = {"id", "installation", "performed_at", "ammeter", "voltmeter", "stage_readings"}
    assert {error["pointer"] for error in errors} == {f"#/{field}" for field in needed}
    assert {error["code"] for error in errors} == {"required"}


@pytest.mark.parametrize(
    "content_type", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "application/xml", ""]
)
def test_a_body_of_another_content_type_is_refused(api: Api, content_type: str) -> None:
    answer = api.client.post("/api/v1/assessments/", b"{}", content_type=content_type)
    assert_problem(answer, 415)


def test_json_with_its_encoding_named_is_taken(api: Api) -> None:
    body = json.dumps(assessment_document())
    answer = api.client.post("/api/v1/assessments/", body, content_type="application/json; charset=utf-8")
    assert answer.status_code == 200


def test_a_body_of_five_megabytes_is_read_and_one_byte_more_is_refused(api: Api) -> None:
    body = json.dumps(assessment_document()).encode()
    assert api.post("assessments/", body.ljust(MOST_BYTES)).status_code == 200
    problem = assert_problem(api.post("assessments/", body.ljust(MOST_BYTES + 1)), 413)
    assert str(MOST_BYTES) in problem["detail"]


def test_a_hundred_thousand_keys_with_one_twice_are_refused_in_a_moment(api: Api) -> None:
    keys = ",".join(f'"k{number}":1' for number in [*range(100_000), 99_999])
    assert "'k99999'" in fault_at(api.post("assessments/", f"{{{keys}}}".encode()), "#")["detail"]
