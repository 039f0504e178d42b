"""Queries whose SQL is made once and then asked with other values.

Making the SQL of a query takes the framework several times as long as the database takes to answer it.  Where the same
few queries belong to every request, they are written as any other query, and only their making is done once.
"""

import copy
from collections import defaultdict
from collections.abc import Callable, Sequence
from typing import Any, Generic, TypeVar

from django.db import connections, router
from django.db.models import Expression, Field, Model, QuerySet
from django.db.models.sql import InsertQuery
from django.db.models.sql.compiler import SQLCompiler

Result = TypeVar("Result")
# Stands in the SQL where as many placeholders come as there are values; no query of ours has one of its own.
LIST_MARK = "\x00{}\x00"


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
        return [self.kind.get_db_prep_value(each, connection=connection) for each in value]


class _Plan:
    """A query made for one connection."""

    def __init__(self, queryset: "QuerySet[Any, Any]") -> None:
        self.compiler = queryset.query.get_compiler(using=queryset.db)
        self.sql, self.params = self.compiler.as_sql()
        select: Sequence[Any] = self.compiler.select or ()
        self.converters = self.compiler.get_converters([each[0] for each in select[: self.compiler.col_count]])

    def bound(self, values: Sequence[Any]) -> SQLCompiler:
        """Return a compiler that has nothing left to do but ask."""
        sql, params, connection = self.sql, [], self.compiler.connection
        for param in self.params:
            if not isinstance(param, One):
                params.append(param)
                continue
            given = param.values(values[param.place], connection)
            params += given
            sql = sql.replace(LIST_MARK.format(param.place), ", ".join(["%s"] * len(given)))
        compiler: Any = copy.copy(self.compiler)
        compiler.as_sql = lambda *args, **options: (sql, params)
        compiler.get_converters = lambda columns: self.converters
        return compiler  # type: ignore[no-any-return]


class _Asked:
    """What an iterable of the framework wants to know of the query it goes through."""

    _known_related_objects: dict[Any, Any] = {}

    def __init__(self, queryset: "QuerySet[Any, Any]", compiler: SQLCompiler) -> None:
        self.db, self.query = queryset.db, self
        self.selected = queryset.query.selected
        self._compiler = compiler

    def get_compiler(self, using: str | None = None) -> SQLCompiler:
        """Return the compiler that is bound to the values."""
        return self._compiler


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
        plan = self._plan(queryset)
        iterable: Any = queryset._iterable_class
        return list(iterable(_Asked(queryset, plan.bound(values))))

    def first(self, *values: Any) -> Result | None:
        """Return the first row, None where there is none."""
        return next(iter(self(*values)), None)

    def _plan(self, queryset: "QuerySet[Any, Result]") -> _Plan:
        # Kept on the connection, with which it goes: a plan knows its connection, and a connection its thread.
        plans: dict[Prepared[Any], _Plan] = vars(connections[queryset.db]).setdefault("prepared_plans", {})
        plan = plans.get(self)
        if plan is None:
            plan = plans[self] = _Plan(queryset)
        return plan


class PreparedInsert:
    """The insert of one row of a table; more of them go in together, as the framework does it."""

    def __init__(self, model: type[Model]) -> None:
        """Take the table."""
        self._model = model

    def __call__(self, rows: Sequence[Model]) -> None:
        """Insert the rows and give each its key."""
        if len(rows) != 1:
            self._model._default_manager.bulk_create(rows)
            return
        (row,) = rows
        using = router.db_for_write(self._model)
        connection = connections[using]
        # Rows that this one points to may have been stored since it was made.
        row._prepare_related_fields_for_save(operation_name="bulk_create")  # type: ignore[attr-defined]
        sql, fields = self._plan(row, using)
        values = [field.get_db_prep_save(field.pre_save(row, add=True), connection=connection) for field in fields]
        with connection.cursor() as cursor:
            cursor.execute(sql, values)
            (row.pk,) = cursor.fetchone() or (None,)
        row._state.adding, row._state.db = False, using

    def _plan(self, row: Model, using: str) -> tuple[str, list["Field[Any, Any]"]]:
        plans: dict[PreparedInsert, tuple[str, list[Field[Any, Any]]]]
        plans = vars(connections[using]).setdefault("prepared_inserts", {})
        if self not in plans:
            key = self._model._meta.pk
            fields = [field for field in self._model._meta.concrete_fields if field is not key]
            query = InsertQuery(self._model)
            query.insert_values(fields, [row])
            compiler: Any = query.get_compiler(using=using)
            compiler.returning_fields = [key]
            ((sql, _values),) = compiler.as_sql()
            plans[self] = sql, fields
        return plans[self]


def attach_many(rows: Sequence[Any], name: str, related: Sequence[Any], *, key: str) -> None:
    """Give each row those related rows whose key it is, as `prefetch_related` under that name would."""
    of_row = defaultdict(list)
    for each in related:
        of_row[getattr(each, key)].append(each)
    for row in rows:
        fetched: Any = type(row)._meta.get_field(name).related_model._default_manager.all()
        fetched._result_cache = of_row[row.pk]
        vars(row).setdefault("_prefetched_objects_cache", {})[name] = fetched
