"""The codes that calc can put into a judgement, read from its source."""

import ast
from collections.abc import Iterator
from pathlib import Path

from calc import findings, hypotheses, stages, verdict

CALC = Path(__file__).parents[2] / "calc"
MAKERS = ("Finding", "VerdictReason")
# Codes that come out of a table; what a finding holds already is counted where the finding is made.
TABLES: dict[str, set[str]] = {
    "finding.code": set(),
    "judged.undetermined_reason": set(stages.REASONS) - {""},
    "_CODE_OF_CLASS[judged.verdict]": set(verdict._CODE_OF_CLASS.values()),
    "_REST[rest_meaning]": {code for code, _severity in findings._REST.values()},
}


def judgement_codes() -> set[str]:
    """Return every code of a finding, reason, remedy or next reading; raise where the source does not tell one."""
    found = {*hypotheses.REMEDIES.values(), *hypotheses.REASONS_TO_READ.values()}
    for path in CALC.rglob("*.py"):
        module = ast.parse(path.read_text("utf-8"))
        for function in _functions(module):
            for call in _calls(function, *MAKERS):
                found |= _meant(call.args[0], function, module)
    return found


def _functions(module: ast.Module) -> Iterator[ast.FunctionDef]:
    return (node for node in ast.walk(module) if isinstance(node, ast.FunctionDef))


def _calls(tree: ast.AST, *names: str) -> Iterator[ast.Call]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in names:
            yield node


def _meant(code: ast.expr, function: ast.FunctionDef, module: ast.Module) -> set[str]:
    match code:
        case ast.Constant(value=str(text)):
            return {text}
        case ast.IfExp(body=body, orelse=other):
            return _meant(body, function, module) | _meant(other, function, module)
        case ast.JoinedStr(values=[ast.FormattedValue(value=start), ast.Constant(value=str(end))]):
            return {f"{each}{end}" for each in _meant(start, function, module)}
        case ast.Name(id=name):
            return _named(name, function, module)
    return TABLES[ast.unparse(code)]


def _named(name: str, function: ast.FunctionDef, module: ast.Module) -> set[str]:
    """Return what a local name or a parameter can hold."""
    for node in ast.walk(function):
        match node:
            case ast.Assign(targets=[ast.Name(id=assigned)], value=value) if assigned == name:
                return _meant(value, function, module)
            case ast.Assign(targets=[ast.Tuple(elts=[ast.Name(id=assigned), *_])], value=value) if assigned == name:
                return _meant(value, function, module)
    place = [argument.arg for argument in function.args.args].index(name)
    callers = [(caller, call) for caller in _functions(module) for call in _calls(caller, function.name)]
    return set[str]().union(*(_meant(call.args[place], caller, module) for caller, call in callers))
