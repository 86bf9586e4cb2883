"""Writes a formula into generated code, from the formula's own source, so that there is one definition of it.

Most formulas are checks of ranges followed by one expression. Written in place they cost neither a call nor a table of
results. A formula of any other shape is called (``inline`` answers None).
"""

from __future__ import annotations

import ast
import inspect
import textwrap
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from typing import Any

from audit.physics.formula import within


@cache
def _definition(function: Callable[..., Any]) -> ast.FunctionDef | None:
    try:
        tree = ast.parse(textwrap.dedent(inspect.getsource(function)))
    except (OSError, TypeError, SyntaxError):
        return None
    found = tree.body[0]
    return found if isinstance(found, ast.FunctionDef) else None


def inline(function: Callable[..., Any], arguments: Sequence[str], put: Callable[[object], str]) -> str | None:
    """An expression for a formula's value, NAN where an argument is unknown or out of range.

    Args:
        function: the formula.
        arguments: an expression for each argument: a local variable that holds a number, or NAN where it is not known,
            or a literal.
        put: keeps an object for the generated function and returns its name there.

    Returns: the expression, or None for a formula that is not of the simple shape.
    """
    found = _body(function, arguments, put)
    if found is None or found[1] is None:
        return None
    ranges, value = found
    tested = {test.split(" <= ")[1] for test in ranges}  # which nothing is that is not known
    known = [f"{text} == {text}" for text in dict.fromkeys(arguments) if text.isidentifier() and text not in tested]
    tests = " and ".join([*known, *map(_apart, ranges)])
    return f"({value}) if {tests} else NAN" if tests else value


def _body(
    function: Callable[..., Any], arguments: Sequence[str], put: Callable[[object], str]
) -> tuple[list[str], str | None] | None:
    """Tests of ranges and the value of a function; the value is None for a helper that only checks."""
    definition = _definition(function)
    if definition is None:
        return None
    names = [argument.arg for argument in definition.args.args]
    scope = getattr(function, "__globals__", {})
    writer = _Writer(dict(zip(names, arguments, strict=True)), scope, put)
    ranges: list[str] = []
    for statement in definition.body:
        if isinstance(statement, ast.Return) and statement.value is not None:
            value = writer.write(statement.value)
            return None if value is None else (ranges, value)
        if not isinstance(statement, ast.Expr):
            return None
        call = statement.value
        if isinstance(call, ast.Constant):
            continue  # the docstring
        checks = writer.checks(call)
        if checks is None:
            return None
        ranges += checks
    return ranges, None


class _Writer:
    """Writes expressions of one function with its parameters replaced."""

    def __init__(self, names: Mapping[str, str], scope: Mapping[str, Any], put: Callable[[object], str]) -> None:
        self.names, self.scope, self.put = names, scope, put

    def checks(self, call: ast.expr) -> list[str] | None:
        """The tests that a call makes: of ``within``, or of a helper that makes such calls."""
        if not isinstance(call, ast.Call) or not isinstance(call.func, ast.Name) or call.keywords:
            return None
        callee = self.scope.get(call.func.id)
        if callee is within:
            value, low, high = (self.write(argument) for argument in call.args[1:4])
            if value is None or low is None or high is None:
                return None
            test = f"{low} <= {value} <= {high}"
            return [] if _certain(test) else [test]
        arguments = [self.write(argument) for argument in call.args]
        if not inspect.isfunction(callee) or None in arguments:
            return None
        found = _body(callee, [argument for argument in arguments if argument is not None], self.put)
        return None if found is None or found[1] is not None else found[0]

    def write(self, node: ast.expr) -> str | None:
        """An expression; None for one that is not arithmetic."""
        replaced = _Names(self).visit(ast.parse(ast.unparse(node), mode="eval").body)
        return None if replaced is None or not _arithmetic(replaced) else ast.unparse(replaced)


class _Names(ast.NodeTransformer):
    """Puts arguments in the place of parameters, and numbers or kept objects in that of what the module defines."""

    def __init__(self, writer: _Writer) -> None:
        self.writer = writer

    def visit_Name(self, node: ast.Name) -> ast.expr:
        text = self.writer.names.get(node.id)
        if text is not None:
            return ast.parse(f"({text})", mode="eval").body
        if node.id not in self.writer.scope:
            return node
        found = self.writer.scope[node.id]
        return ast.Constant(found) if type(found) is float else ast.Name(self.writer.put(found), ast.Load())

    def visit_Attribute(self, node: ast.Attribute) -> ast.AST:
        owner = self.writer.scope.get(node.value.id) if isinstance(node.value, ast.Name) else None
        found = getattr(owner, node.attr, None) if inspect.ismodule(owner) else None
        return ast.Constant(found) if type(found) is float else super().generic_visit(node)  # as math.pi


def _apart(test: str) -> str:
    """A test of a range as two comparisons, which are quicker than a chain, where its value costs nothing."""
    low, value, high = test.split(" <= ")
    return f"{value} >= {low} and {value} <= {high}" if value.isidentifier() else test


def _certain(test: str) -> bool:
    """Whether a test of literals alone is true; a literal out of range is left to fail where it stands."""
    tree = ast.parse(test, mode="eval").body
    if not isinstance(tree, ast.Compare) or any(isinstance(part, ast.Name) for part in ast.walk(tree)):
        return False
    values = [ast.literal_eval(part) for part in (tree.left, *tree.comparators) if isinstance(part, ast.Constant)]
    return len(values) == 3 and values[0] <= values[1] <= values[2]


def _arithmetic(node: ast.AST) -> bool:
    kinds = (
        ast.BinOp,
        ast.UnaryOp,
        ast.operator,
        ast.unaryop,
        ast.Constant,
        ast.Name,
        ast.Load,
        ast.Call,
        ast.Attribute,
    )
    return all(isinstance(part, kinds) for part in ast.walk(node))
