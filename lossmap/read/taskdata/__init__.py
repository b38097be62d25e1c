"""ISO 11783-10 task data: a folder or zip from the machine to one table a time log.

archive    where the files are; nothing is unpacked, names are compared only
safe_xml   XML without entities, capped
tasks      TASKDATA.XML: logs, tasks, machines and their parts, fields
choice     which logs are meant
header     TLGnnnnn.XML: what a record holds
records    TLGnnnnn.bin: records to arrays
clock      the machine's clock to UTC
motion     where it was, and how long and far since the record before
readings   raw values by entry of the data dictionary, the machine's own part first
roles      entries to columns in SI
totals     the machine's totals against the sums of its records
edges      field boundaries
logs       all of it, in order
points     logs to POINTS, with the field's facts
"""

from lossmap.read.taskdata.archive import holds_task_data
from lossmap.read.taskdata.logs import TaskData, TimeLog, read_task_data
from lossmap.read.taskdata.points import points_of

__all__ = ["TaskData", "TimeLog", "holds_task_data", "points_of", "read_task_data"]
