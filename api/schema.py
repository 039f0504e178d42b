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
ALWAYS = ("401", "403", "405")
ANSWERS_BY_METHOD = {"get": ("400", "404"), "post": ("400", "404", "409", "413", "415")}


def document_problems(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Give each operation the problems it may answer with."""
    result["components"].setdefault("schemas", {})["Problem"] = PROBLEM
    content = {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
    for operations in result["paths"].values():
        for method, operation in operations.items():
            for code in (*ALWAYS, *ANSWERS_BY_METHOD.get(method, ())):
                operation["responses"].setdefault(code, {"description": "A problem.", "content": content})
    return result
