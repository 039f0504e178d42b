"""What the OpenAPI document says of every operation alike: how it refuses."""

from typing import Any

PROBLEM = {
    "type": "object",
    "description": "Problem details, RFC 9457.",
    "required": ["type", "title", "status", "detail", "errors"],
    "properties": {
        "type": {"type": "string", "format": "uri-reference"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["pointer", "code", "detail"],
                "properties": {
                    "pointer": {"type": "string", "description": "JSON pointer to the place in the body, RFC 6901."},
                    "code": {"type": "string"},
                    "detail": {"type": "string"},
                },
            },
        },
    },
}
ALWAYS = ("400", "401", "403", "405", "429", "503")
READ = ("304", "404")
WRITE = ("404", "409", "413", "415", "422")
ANSWERS_BY_METHOD = {"get": READ, "post": WRITE, "patch": (*WRITE, "412", "428"), "delete": (*WRITE, "412", "428")}
WITHOUT_A_BODY = {"304": {"description": "The client has it already: the ETag is one that If-None-Match names."}}

ETAG = {"description": "The strong entity tag of what is shown, RFC 9110.", "schema": {"type": "string"}}
REQUEST_ID = {"description": "What the log calls this request.", "schema": {"type": "string"}}
RETRY_AFTER = {"description": "In how many seconds to try again.", "schema": {"type": "integer"}}
IDEMPOTENCY_KEY = {
    "in": "header",
    "name": "Idempotency-Key",
    "description": (
        'One quoted string of 1 to 255 visible ASCII characters, such as "8e03978e-40d5". The same request again under '
        "its key, by the same person, is answered as it was first, for 90 days: status, body, ETag and Location. A key "
        "is the organisation's; under another request it is refused with 422, and with 409 while the first is worked "
        "on. A refusal stores nothing and keeps no key. On inspections and extra readings the id decides all the same."
    ),
    "schema": {"type": "string", "pattern": r'^"([\x20-\x21\x23-\x5b\x5d-\x7e]|\\["\\])+"$', "maxLength": 512},
}
IF_NONE_MATCH = {
    "in": "header",
    "name": "If-None-Match",
    "description": "Entity tags the client has; where one is current the answer is 304 without a body.",
    "schema": {"type": "string"},
}
IF_MATCH = {
    "in": "header",
    "name": "If-Match",
    "description": "The ETag of the row as it was seen, or *; where it has changed since, the answer is 412.",
    "schema": {"type": "string"},
}
ID_IN_ANSWERS = {"get": "/results/0/id", "post": "/id"}
STORES_NOTHING = ("/assessments/", "/preview/")


def document_problems(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Give each operation the problems it may answer with, and the headers that guard it."""
    result["components"].setdefault("schemas", {})["Problem"] = PROBLEM
    _let_anything_be_null(result["components"]["schemas"])
    _link_rows(result["paths"])
    for path, operations in result["paths"].items():
        for method, operation in operations.items():
            _document_refusals(method, operation["responses"], names_a_row="{id}" in path)
            operation.setdefault("parameters", []).extend(_guards(method, path))
            for code, answer in operation["responses"].items():
                answer["headers"] = {**answer.get("headers", {}), **_headers(method, code)}
    return result


def _link_rows(paths: dict[str, Any]) -> None:
    """Say where the id in an answer leads: from a list and from what was stored to each operation on the row."""
    for path, operations in paths.items():
        of_a_row = [
            operation["operationId"]
            for other, others in paths.items()
            if other.startswith(f"{path}{{id}}/")
            for operation in others.values()
        ]
        for method, where in ID_IN_ANSWERS.items():
            for code, answer in operations.get(method, {}).get("responses", {}).items():
                if of_a_row and code in ("200", "201"):
                    parameters = {"id": f"$response.body#{where}"}
                    answer["links"] = {name: {"operationId": name, "parameters": parameters} for name in of_a_row}


def _let_anything_be_null(part: Any) -> None:
    """Say "anything" where the generator says "anything, or else null", which no null is: it would be both."""
    if isinstance(part, dict):
        if part.get("oneOf") == [{}, {"type": "null"}]:
            del part["oneOf"]
        for inner in part.values():
            _let_anything_be_null(inner)
    elif isinstance(part, list):
        for inner in part:
            _let_anything_be_null(inner)


def _document_refusals(method: str, responses: dict[str, Any], *, names_a_row: bool) -> None:
    content = {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
    stepped = ("412",) if method == "post" and names_a_row else ()
    for code in (*ALWAYS, *ANSWERS_BY_METHOD.get(method, ()), *stepped):
        refusal = {"description": "A problem.", "content": content}
        responses.setdefault(code, dict(WITHOUT_A_BODY.get(code, refusal)))


def _guards(method: str, path: str) -> list[dict[str, Any]]:
    if method == "get":
        return [IF_NONE_MATCH]
    guards: list[dict[str, Any]] = [] if any(part in path for part in STORES_NOTHING) else [IDEMPOTENCY_KEY]
    if "{id}" in path or method == "patch":
        # A step in a row's life may say what it saw; a change has to.
        guards.append({**IF_MATCH, "required": method != "post"})
    return guards


def _headers(method: str, code: str) -> dict[str, Any]:
    headers: dict[str, Any] = {"X-Request-ID": REQUEST_ID}
    if method in ("get", "patch") and code in ("200", "304"):
        headers["ETag"] = ETAG
    if code in ("429", "503"):
        headers["Retry-After"] = RETRY_AFTER
    return headers
