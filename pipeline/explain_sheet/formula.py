"""Formulas as an engineer types them into a pocket calculator: read, worked out, and printed.

Only numbers, names, ``+ - * / ^``, brackets and a few functions are read; nothing else can be run.
"""

from __future__ import annotations

import ast
import math
from collections.abc import Mapping

from pipeline.errors import SchemaError

FUNCTIONS = {"min": min, "max": max, "sqrt": math.sqrt, "log10": math.log10}
CONSTANTS = {"pi": math.pi}
FIGURES = 7  # figures printed of every number


def _tree(formula: str) -> ast.expr:
    try:
        return ast.parse(formula.replace("^", "**"), mode="eval").body
    except SyntaxError:
        raise SchemaError(f"The formula '{formula}' cannot be read.") from None


def names(formula: str) -> list[str]:
    """Symbols of a formula in the order in which they stand, each once."""
    found = [n for n in ast.walk(_tree(formula)) if isinstance(n, ast.Name)]
    found.sort(key=lambda n: (n.lineno, n.col_offset))
    return list(dict.fromkeys(n.id for n in found if n.id not in FUNCTIONS and n.id not in CONSTANTS))


def evaluate(formula: str, values: Mapping[str, float]) -> float:
    """The result of a formula for the values of its symbols.

    Raises
    ------
    SchemaError
        When the formula holds anything but arithmetic, or a symbol has no value.
    """

    def work(node: ast.expr) -> float:
        if isinstance(node, ast.Constant) and isinstance(node.value, (int, float)):
            return float(node.value)
        if isinstance(node, ast.Name) and node.id in CONSTANTS:
            return CONSTANTS[node.id]
        if isinstance(node, ast.Name) and node.id in values:
            return float(values[node.id])
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
            return -work(node.operand)
        if isinstance(node, ast.BinOp):
            left, right = work(node.left), work(node.right)
            if isinstance(node.op, ast.Add):
                return left + right
            if isinstance(node.op, ast.Sub):
                return left - right
            if isinstance(node.op, ast.Mult):
                return left * right
            if isinstance(node.op, ast.Div):
                return left / right
            if isinstance(node.op, ast.Pow):
                return float(left**right)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in FUNCTIONS:
            return float(FUNCTIONS[node.func.id](*(work(a) for a in node.args)))  # type: ignore[operator]
        raise SchemaError(f"The formula '{formula}' is not plain arithmetic, or a symbol has no value.")

    return work(_tree(formula))


def printed(value: float) -> str:
    """A number with FIGURES significant figures, as it stands on the sheet."""
    return f"{value:.{FIGURES}g}"
