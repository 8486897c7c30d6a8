"""Statements that never change, compiled once for a kind of database and not anew for each opening of a book."""

__all__ = ["run"]

_COMPILED = {}


def run(connection, make_statement, **values):
    """Return all rows of a statement.

    Parameters
    ----------
    connection : sqlalchemy.Connection
    make_statement : callable
        Returns the statement, with a `bindparam` for each of `values`; always the same one. Its columns come as
        the driver gives them, so it must be one of numbers and text.
    **values
        Values of its parameters.

    Returns
    -------
    list of sqlalchemy.Row
    """
    key = (make_statement, connection.dialect.name)
    if key not in _COMPILED:
        compiled = make_statement().compile(dialect=connection.dialect, compile_kwargs={"render_postcompile": True})
        _COMPILED[key] = (str(compiled), compiled.positiontup, compiled.params)
    sql, order, given = _COMPILED[key]
    values = {**given, **values}
    return connection.exec_driver_sql(sql, values if order is None else tuple(values[name] for name in order)).all()
