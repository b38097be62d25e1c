"""Which time logs are meant: one map is of one field, and a season's export holds many."""

from __future__ import annotations

from collections.abc import Sequence

from lossmap.base.errors import ReadError, near, shown
from lossmap.read.taskdata.archive import Archive
from lossmap.read.taskdata.tasks import Description, ListedLog

__all__ = ["chosen_logs", "some"]


def chosen_logs(archive: Archive, description: Description, layer: str | None) -> tuple[list[ListedLog], list[str]]:
    """The logs of one field that are there, and what is said of the others.

    Parameters
    ----------
    archive : Archive
    description : Description
    layer : str or None
        A field's or task's id or name, or a log's name; None for the only field there is.

    Raises
    ------
    ReadError
        Nothing is called `layer`, or without one the logs are of several fields.
    """
    wanted = [log for log in description.logs if layer is None or layer in _labels(log, description)]
    if layer is not None and not wanted:
        labels = {label for log in description.logs for label in _labels(log, description)}
        raise ReadError(f"{archive.where}: has no field, task or log {shown(layer)}; {shown(near(layer, labels), 300)}")
    there = [log for log in wanted if archive.has(f"{log.name}.bin", f"{log.name}.xml")]
    missing = {log.name for log in wanted} - {log.name for log in there}
    notes = []
    if missing:
        notes.append(f"{archive.where}: a file of {some(sorted(missing))} is missing (TASKDATA.XML lists it); copy the whole folder again")
    if layer is not None:
        return there, notes
    unlisted = [log.name for log in there if not log.listed]
    if unlisted:
        remedy = f'if it is of this field, add a [[points]] with layer = "{shown(unlisted[0])}"'
        notes.append(f"{archive.where}: no task lists {some(unlisted)}, so it was left out; {remedy}")
    chosen = [log for log in there if log.listed]
    _refuse_several_fields(chosen, description, archive.where)
    return chosen, notes


def _refuse_several_fields(chosen: Sequence[ListedLog], description: Description, where: str) -> None:
    """One map is of one field: a season's export of many is not mixed."""
    fields = dict.fromkeys(log.field for log in chosen if log.field)
    if len(fields) > 1:
        known = [f"{field} {shown(description.fields[field].name)}" if field in description.fields else field for field in fields]
        raise ReadError(
            f"{where}: holds logs of {len(fields)} fields ({shown(', '.join(known), 300)}); "
            f'name one beside path, for example layer = "{shown(next(iter(fields)))}"'
        )


def _labels(log: ListedLog, description: Description) -> set[str]:
    field = description.fields.get(log.field)
    return {log.name, log.task, log.task_name, log.field, field.name if field else ""} - {""}


def some(names: Sequence[str]) -> str:
    """The first names, and how many more there are."""
    first = ", ".join(shown(name, 20) for name in names[:3])
    return first if len(names) <= 3 else f"{first} and {len(names) - 3} more"
