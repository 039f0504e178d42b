"""Queries whose SQL is made once and then asked with other values.

Making the SQL of a query takes the framework several times as long as the database takes to answer it, and PostgreSQL
takes as long again to plan it.  Where the same few queries belong to every request, they are written as any other, and
only their making and their planning is done once.
"""

from collections import defaultdict
from collections.abc import Callable, Sequence
from functools import partial
from operator import itemgetter
from typing import Any, Generic, NamedTuple, TypeVar

import orjson
from django.db import connections, router
from django.db.models import (
    BigAutoField,
    BooleanField,
    CharField,
    Expression,
    Field,
    ForeignKey,
    IntegerField,
    JSONField,
    Model,
    QuerySet,
    TextField,
)
from django.db.models.query import (
    FlatValuesListIterable,
    ValuesIterable,
    ValuesListIterable,
    get_related_populators,
)
from django.db.models.sql import InsertQuery
from django.db.models.sql.compiler import SQLCompiler

from accounts.statements import cursor_for

Result = TypeVar("Result")
# Stands in the SQL where as many placeholders come as there are values; no query of ours has one of its own.
LIST_MARK = "\x00{}\x00"
# Both databases take more values than this in one statement.
MOST_VALUES = 30_000
NATURAL_TYPES: "dict[type[Field[Any, Any]], type]" = {
    BigAutoField: int,
    IntegerField: int,
    BooleanField: bool,
    CharField: str,
    TextField: str,
}


class One(Expression):
    """The place of one value of a query."""

    def __init__(self, field: "Field[Any, Any]", place: int = 0) -> None:
        """Take the kind of value, and which of the values it is."""
        super().__init__(output_field=field)
        self.kind, self.place = field, place

    def as_sql(self, compiler: SQLCompiler, connection: Any) -> Any:
        """Stand in the query's parameters until there is a value."""
        return "%s", [self]

    def at(self, place: int) -> "One":
        """Return the same for the value at a place."""
        return type(self)(self.kind, place)

    def values(self, value: Any, connection: Any) -> list[Any]:
        """Return a value as the database takes it."""
        return [self.kind.get_db_prep_value(value, connection=connection)]


class Many(One):
    """The place of a list of values."""

    def as_sql(self, compiler: SQLCompiler, connection: Any) -> Any:
        """Leave a mark where the placeholders come."""
        return LIST_MARK.format(self.place), [self]

    def values(self, value: Any, connection: Any) -> list[Any]:
        """Return the values as the database takes them."""
        each = [self.kind.get_db_prep_value(one, connection=connection) for one in value]
        return [each] if connection.vendor == "postgresql" else each

    def as_array(self, sql: str, connection: Any) -> str:
        """Return the SQL with one place for the whole list, so that lists of every length are the same statement."""
        return sql.replace(f"IN ({LIST_MARK.format(self.place)})", f"= ANY(%s::{self.kind.db_type(connection)}[])")

    def as_places(self, sql: str, count: int) -> str:
        """Return the SQL with as many places as there are values."""
        return sql.replace(LIST_MARK.format(self.place), ", ".join(["%s"] * count))


class _Plan:
    """A query made for one connection: its SQL, and how a row that comes back becomes what the query promises."""

    def __init__(self, queryset: "QuerySet[Any, Any]") -> None:
        compiler: Any = queryset.query.get_compiler(using=queryset.db)
        self.connection = compiler.connection
        self.sql, self.params = compiler.as_sql()
        # The lists that need a place for each value, as many as come.
        self.lists: list[Many] = []
        for each in self.params:
            if isinstance(each, Many) and self.connection.vendor == "postgresql":
                self.sql = each.as_array(self.sql, self.connection)
            elif isinstance(each, Many):
                self.lists.append(each)
        select = [each[0] for each in compiler.select[: compiler.col_count]]
        self.converters = [(place, *each) for place, each in compiler.get_converters(select).items()]
        self.result_of = _result_of(queryset, compiler)

    def rows(self, values: Sequence[Any]) -> list[Any]:
        """Ask with these values."""
        sql, params = self.sql, []
        for param in self.params:
            params += param.values(values[param.place], self.connection) if isinstance(param, One) else [param]
        for each in self.lists:
            sql = each.as_places(sql, len(values[each.place]))
        with cursor_for(self.connection, planned_once=True) as cursor:
            cursor.execute(sql, params)
            found = cursor.fetchall()
        return [self.result_of(self._converted(row)) for row in found]

    def _converted(self, row: Sequence[Any]) -> Sequence[Any]:
        if not self.converters:
            return row
        values = list(row)
        for place, converters, expression in self.converters:
            for convert in converters:
                values[place] = convert(values[place], expression, self.connection)
        return values


def _result_of(queryset: "QuerySet[Any, Any]", compiler: Any) -> Callable[[Sequence[Any]], Any]:
    kind = queryset._iterable_class
    if kind is FlatValuesListIterable:
        return itemgetter(0)
    if kind is ValuesListIterable:
        return tuple
    if kind is ValuesIterable:
        names = list(queryset.query.selected or ())
        return lambda row: dict(zip(names, row, strict=True))
    return _model_of(queryset.db, compiler)


def _model_of(using: str, compiler: Any) -> Callable[[Sequence[Any]], Model]:
    info, select = compiler.klass_info, compiler.select
    first, last = info["select_fields"][0], info["select_fields"][-1] + 1
    names = [each[0].target.attname for each in select[first:last]]
    # The stubs are of a later version, which asks for more.
    populators_of: Any = get_related_populators
    related = populators_of(info, select, using)
    model: type[Model] = info["model"]

    def made(row: Sequence[Any]) -> Model:
        found = model.from_db(using, names, row[first:last])
        for each in related:
            each.populate(row, found)
        return found

    return made


class Prepared(Generic[Result]):
    """A query that is asked often; call it with its values, in the order of its places.

    Lists of related rows are not fetched along (`prefetch_related`); `select_related`, `values` and `values_list` are.
    """

    def __init__(self, build: Callable[..., "QuerySet[Any, Result]"], *places: One) -> None:
        """Take how the query is built from its places, and what kind of value comes to each."""
        self._build = build
        self._places = [place.at(index) for index, place in enumerate(places)]
        self._queryset: QuerySet[Any, Result] | None = None

    def __call__(self, *values: Any) -> list[Result]:
        """Return the rows for these values; none where a list of them is empty."""
        if any(isinstance(place, Many) and not value for place, value in zip(self._places, values, strict=True)):
            return []
        queryset = self._queryset
        if queryset is None:
            queryset = self._queryset = self._build(*self._places)
        return self._plan(queryset).rows(values)

    def first(self, *values: Any) -> Result | None:
        """Return the first row, None where there is none."""
        return next(iter(self(*values)), None)

    def _plan(self, queryset: "QuerySet[Any, Result]") -> _Plan:
        # Kept on the connection, with which it goes: a plan knows its connection, and a connection its thread.
        plans: dict[Prepared[Any], _Plan] = vars(connections[queryset.db]).setdefault("prepared_plans", {})
        plan = plans.get(self)
        if plan is None:
            # Making the SQL changes the query, which other threads have too.
            plan = plans[self] = _Plan(queryset.all())
        return plan


class _Column(NamedTuple):
    """A column of an insert: where its value stands, and how it becomes what the database takes."""

    field: "Field[Any, Any]"
    natural: type | None
    is_as_set: bool
    stored: Callable[[Any], object]


class _Insert(NamedTuple):
    """An insert made for one connection: what stands before and after the rows, one row's places, and its columns."""

    before: str
    places: str
    after: str
    columns: list[_Column]


class PreparedInsert:
    """The insert of rows of one table; it asks for no column's default and calls no signal."""

    def __init__(self, model: type[Model]) -> None:
        """Take the table."""
        self._model = model

    def __call__(self, rows: Sequence[Model]) -> None:
        """Insert the rows and give each its key."""
        if not rows:
            return
        using = router.db_for_write(self._model)
        for row in rows:
            # Rows that this one points to may have been stored since it was made.
            row._prepare_related_fields_for_save(operation_name="bulk_create")  # type: ignore[attr-defined]
        plan = self._plan(rows[0], using)
        at_once = MOST_VALUES // len(plan.columns)
        for first in range(0, len(rows), at_once):
            self._insert(plan, rows[first : first + at_once], connections[using])
        for row in rows:
            row._state.adding, row._state.db = False, using

    def _insert(self, plan: _Insert, rows: Sequence[Model], connection: Any) -> None:
        values: list[Any] = [_stored_value(row, *column) for row in rows for column in plan.columns]
        with cursor_for(connection, planned_once=len(rows) == 1) as cursor:
            cursor.execute(plan.before + ", ".join([plan.places] * len(rows)) + plan.after, values)
            for row, (key,) in zip(rows, cursor.fetchall(), strict=True):
                row.pk = key

    def _plan(self, row: Model, using: str) -> _Insert:
        plans: dict[PreparedInsert, _Insert] = vars(connections[using]).setdefault("prepared_inserts", {})
        if self not in plans:
            key = self._model._meta.pk
            fields = [field for field in self._model._meta.concrete_fields if field is not key]
            query = InsertQuery(self._model)
            query.insert_values(fields, [row])
            compiler: Any = query.get_compiler(using=using)
            compiler.returning_fields = [key]
            ((sql, _values),) = compiler.as_sql()
            before, values, rest = sql.partition("VALUES ")
            places, end, after = rest.partition(")")
            columns = [_column(field, connections[using]) for field in fields]
            plans[self] = _Insert(before + values, places + end, after, columns)
        return plans[self]


def _column(field: "Field[Any, Any]", connection: Any) -> _Column:
    if type(field) is JSONField and field.encoder is None:
        stored = _stored_json(connection)
    else:
        stored = partial(field.get_db_prep_save, connection=connection)
    return _Column(field, _natural_type(field), type(field).pre_save is Field.pre_save, stored)


def _natural_type(field: "Field[Any, Any]") -> type | None:
    """Return the type whose values a database takes for the field as they are, if there is one."""
    target: Any = field.target_field if isinstance(field, ForeignKey) else field
    return next((natural for kind, natural in NATURAL_TYPES.items() if type(target) is kind), None)


def _stored_json(connection: Any) -> Callable[[Any], object]:
    if connection.vendor != "postgresql":
        return lambda value: orjson.dumps(value).decode()
    # The driver is loaded only where PostgreSQL is used.
    from psycopg.types.json import Jsonb

    return lambda value: Jsonb(value, dumps=orjson.dumps)


def _stored_value(
    row: Model, field: "Field[Any, Any]", natural: type | None, is_as_set: bool, stored: Callable[[Any], object]
) -> object:
    value: object = getattr(row, field.attname) if is_as_set else field.pre_save(row, add=True)
    return value if value is None or type(value) is natural else stored(value)


def attach_many(rows: Sequence[Any], name: str, related: Sequence[Any], *, key: str) -> None:
    """Give each row those related rows whose key it is, as `prefetch_related` under that name would."""
    of_row = defaultdict(list)
    for each in related:
        of_row[getattr(each, key)].append(each)
    for row in rows:
        fetched: Any = type(row)._meta.get_field(name).related_model._default_manager.all()
        fetched._result_cache = of_row[row.pk]
        vars(row).setdefault("_prefetched_objects_cache", {})[name] = fetched
