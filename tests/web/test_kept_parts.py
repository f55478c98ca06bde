"""Which parts of a fragment are printed again, tried with a macro of Jinja's that notes what it prints."""

from __future__ import annotations

from dataclasses import dataclass

from jinja2 import Environment

from portraitq.web.kept_parts import KeptParts


@dataclass(frozen=True)
class Row:
    number: int
    said: str


class Noted:
    """A fragment of rows, rendered again and again; `printed` are the rows that were."""

    def __init__(self) -> None:
        self.printed = list[int]()
        self.last = KeptParts({})
        environment = Environment(autoescape=True)
        environment.globals["note"] = lambda number: self.printed.append(number) or ""
        self.template = environment.from_string(
            "{% macro row(one, large=false) %}{{ note(one.number) }}<li>{{ one.number }} {{ one.said }}"
            "{{ '!' if large }}{% endmacro %}{% for one in rows %}{{ kept(row, one, large) }}{% endfor %}"
        )

    def show(self, *rows: Row, large: bool = False) -> str:
        self.printed.clear()
        self.last = KeptParts(self.last.parts)
        return self.template.render(rows=rows, kept=self.last, large=large)


def test_a_row_is_printed_again_only_where_it_says_something_else():
    noted = Noted()
    first = noted.show(Row(1, "waiting"), Row(2, "<b>"))

    again = noted.show(Row(1, "ready"), Row(2, "<b>"))

    assert (first, again) == ("<li>1 waiting<li>2 &lt;b&gt;", "<li>1 ready<li>2 &lt;b&gt;")
    assert noted.printed == [1]


def test_the_same_row_shown_another_way_is_another_part():
    noted = Noted()
    noted.show(Row(1, "waiting"))

    assert noted.show(Row(1, "waiting"), large=True) == "<li>1 waiting!"


def test_what_is_shown_no_more_is_let_go():
    noted = Noted()
    noted.show(Row(1, "waiting"), Row(2, "waiting"))
    noted.show(Row(1, "waiting"))

    assert [shown.number for _, shown, _ in noted.last.parts] == [1]
    noted.show(Row(2, "waiting"))
    assert noted.printed == [2]
