"""The small SQL of the rules, read and worked out a second time without DuckDB.

The scan hands a rule's test to DuckDB as it stands; here the same text is parsed into a tree of a
few known forms and worked out on arrays. That holds the rules to a safe subset of SQL, tells which
columns a test reads, and gives the gate its own count of the same faults.

Forms: columns, numbers, 'text', DATE 'yyyy-mm-dd', + - * /, = <> < <= > >=, IN (...), IS [NOT] NULL,
AND, OR, NOT, abs(...).
"""

from __future__ import annotations

import ast
import operator
import re
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.errors import SchemaError

_TOKEN = re.compile(r"\s*(?:(?P<text>'[^']*')|(?P<number>\d+\.?\d*(?:[eE][-+]?\d+)?)|(?P<word>[A-Za-z_]\w*)"
                    r"|(?P<sign><=|>=|<>|[-+*/=<>(),]))")  # fmt: skip
_WORDS = {"and": "and", "or": "or", "not": "not", "in": "in", "is": "is", "null": "None", "date": "date"}
_BINARY: dict[type, Callable[[Any, Any], Any]] = {
    ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul, ast.Div: operator.truediv,
    ast.Gt: operator.gt, ast.GtE: operator.ge, ast.Lt: operator.lt, ast.LtE: operator.le,
    ast.Eq: operator.eq, ast.NotEq: operator.ne,
}  # fmt: skip


def _python(sql: str) -> str:
    """The test with Python's spelling of the same operators; anything unknown is refused."""
    out, place = [], 0
    text = sql.strip()
    if "--" in text or "/*" in text:
        raise SchemaError(f'rules.csv: the test "{sql}" holds a comment; tests are one expression.')
    while place < len(text):
        match = _TOKEN.match(text, place)
        if not match:
            raise SchemaError(f"rules.csv: the test \"{sql}\" cannot be read at '{text[place:place + 12]}'.")
        place, kind, token = match.end(), match.lastgroup, match[match.lastgroup or 0]
        if kind == "word":
            token = _WORDS.get(token.lower(), token)
        elif kind == "sign":
            token = {"=": "==", "<>": "!="}.get(token, token)
        out.append(token)
    # DATE 'x' is a call, so that the tree knows it from plain text
    return re.sub(r"\bdate ('[^']*')", r"date(\1)", " ".join(out))


@cache
def tree(sql: str) -> ast.expr:
    """Parsed test.

    Raises
    ------
    SchemaError
        When the text holds anything but the forms named above.
    """
    try:
        body = ast.parse(_python(sql), mode="eval").body
    except SyntaxError:
        raise SchemaError(f'rules.csv: the test "{sql}" is not understood.') from None
    for node in ast.walk(body):
        if isinstance(node, ast.Call):
            known = isinstance(node.func, ast.Name) and node.func.id in ("abs", "date")
            if not known or len(node.args) != 1 or node.keywords:
                raise SchemaError(f'rules.csv: the test "{sql}" calls something other than abs().')
        elif isinstance(node, ast.Compare):
            if len(node.ops) != 1:
                raise SchemaError(f'rules.csv: the test "{sql}" chains comparisons; join them by AND.')
            right = node.comparators[0]
            if isinstance(node.ops[0], (ast.Is, ast.IsNot)) and not (
                isinstance(right, ast.Constant) and right.value is None
            ):
                raise SchemaError(f'rules.csv: the test "{sql}" puts something other than NULL after IS.')
        elif not isinstance(node, (ast.BoolOp, ast.UnaryOp, ast.BinOp, ast.Name, ast.Constant, ast.Tuple,
                                   ast.expr_context, ast.operator, ast.unaryop, ast.boolop, ast.cmpop)):
            raise SchemaError(f'rules.csv: the test "{sql}" holds a form that rules may not use.')
    return body


@cache
def columns(sql: str) -> frozenset[str]:
    """Columns that a test reads."""
    names = {node.id for node in ast.walk(tree(sql)) if isinstance(node, ast.Name)}
    return frozenset(names - {"abs", "date"})


def evaluate(sql: str, values: Mapping[str, NDArray[Any]]) -> NDArray[np.bool_]:
    """True where the test holds; False where it does not or a missing value leaves it open, as in SQL.

    Parameters
    ----------
    sql : str
        Test of a rule.
    values : mapping of column name to array, all of one length
        Numbers with NaN, dates as datetime64 with NaT, text and booleans as objects with None.
    """
    return _truth(tree(sql), values)[0]


def _truth(node: ast.expr, values: Mapping[str, NDArray[Any]]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Where a condition is true and where it is false; neither where it is left open."""
    if isinstance(node, ast.BoolOp):
        parts = [_truth(item, values) for item in node.values]
        holds, fails = [part[0] for part in parts], [part[1] for part in parts]
        if isinstance(node.op, ast.And):
            return np.logical_and.reduce(holds), np.logical_or.reduce(fails)
        return np.logical_or.reduce(holds), np.logical_and.reduce(fails)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        return _truth(node.operand, values)[::-1]
    if isinstance(node, ast.Compare):
        return _compare(node, values)
    found = _value(node, values)
    known = ~np.asarray(pd.isna(found))
    true = np.asarray(np.where(known, found, False), dtype=bool)
    return true, known & ~true


def _value(node: ast.expr, values: Mapping[str, NDArray[Any]]) -> Any:
    """Number, text or date of an expression, one a row or one for all."""
    if isinstance(node, ast.Name):
        return values[node.id]
    if isinstance(node, ast.Constant):
        return node.value
    if isinstance(node, ast.Tuple):
        return [_value(item, values) for item in node.elts]
    if isinstance(node, ast.UnaryOp):
        inner = _value(node.operand, values)
        return -inner if isinstance(node.op, ast.USub) else inner
    if isinstance(node, ast.Call):
        argument = _value(node.args[0], values)
        is_date = isinstance(node.func, ast.Name) and node.func.id == "date"
        return np.datetime64(argument, "D") if is_date else np.abs(argument)
    assert isinstance(node, ast.BinOp)
    return _BINARY[type(node.op)](_value(node.left, values), _value(node.right, values))


def _compare(
    node: ast.Compare, values: Mapping[str, NDArray[Any]]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    left, right, kind = _value(node.left, values), _value(node.comparators[0], values), node.ops[0]
    missing = np.asarray(pd.isna(left))
    if isinstance(kind, ast.Is):
        return missing, ~missing
    if isinstance(kind, ast.IsNot):
        return ~missing, missing
    if isinstance(kind, (ast.In, ast.NotIn)):
        among = np.asarray(pd.Series(left).isin(right if isinstance(right, list) else [right]))
        pair = (~missing & among, ~missing & ~among)
        return pair if isinstance(kind, ast.In) else pair[::-1]
    known = ~(missing | np.asarray(pd.isna(right)))
    with np.errstate(invalid="ignore"):
        holds = np.asarray(_BINARY[type(kind)](left, right), dtype=bool)
    return known & holds, known & ~holds
