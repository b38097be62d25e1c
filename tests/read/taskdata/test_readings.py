from __future__ import annotations

import numpy as np

from lossmap.read.taskdata.header import header_of
from lossmap.read.taskdata.readings import Readings, carried, main_device
from lossmap.read.taskdata.records import records_of
from lossmap.read.taskdata.tasks import Device, DeviceElement

RED, BLUE = Device("DVC-1", "Red"), Device("DVC-2", "Blue")
ELEMENTS = {
    "DET-1": DeviceElement(RED, 1, {0x46: 9000}),
    "DET-2": DeviceElement(RED, 4, {}),
    "DET-3": DeviceElement(BLUE, 1, {0x46: 4000, 0x8F: 100}),
}


def readings(made, logged, content, device=RED):
    """Readings of a made log."""
    header = header_of(made.header(logged).encode(), "x")
    places = {index: index for index in range(len(header.logged))}
    return Readings(header, records_of(content, header, list(places)), places, ELEMENTS, device)


def test_states_are_carried_forward():
    """A gap takes the last value before it; what comes before the first stays unknown."""
    nan = np.nan
    np.testing.assert_array_equal(carried(np.array([nan, 2, nan, nan, 5, nan])), [nan, 2, 2, 2, 5, 5])
    assert len(carried(np.array([]))) == 0


def test_the_whole_machine_speaks_before_its_sections_and_before_others(made):
    """Of one quantity on a section, on another machine and on the machine itself, the last is the best."""
    logged = [("0043", "", "DET-2"), ("0043", "", "DET-3"), ("0043", "", "DET-1"), ("0043", "", "DET-77")]
    found = readings(made, logged, made.record(0, {0: 1, 1: 2, 2: 3, 3: 4}))
    assert [reading.element for reading in found.all(0x43)] == ["DET-1", "DET-77", "DET-2", "DET-3"]
    assert found.best(0x43).values.tolist() == [3]


def test_a_part_that_never_spoke_gives_way(made):
    """Listed in the header but in no record, the machine's own width leaves the section's."""
    found = readings(made, [("0043", "", "DET-1"), ("0043", "", "DET-2")], made.record(0, {1: 5}))
    assert found.best(0x43).element == "DET-2"
    assert found.best(0x63) is None
    assert np.isnan(found.state(0x63)).all()


def test_constants_of_the_log_and_of_the_machine(made):
    """A value in the header fills the log; the description's stands where nothing was logged, of the own machine alone."""
    found = readings(made, [("0043", "7500", "DET-1")], made.record(0) + made.record(1))
    assert found.state(0x43).tolist() == [7500, 7500]
    assert found.best(0x43).how == "fixed for the log"
    assert found.state(0x46).tolist() == [9000, 9000]
    assert found.best(0x46).how == "device description"
    assert found.best(0x8F) is None


def test_the_machine_is_the_one_that_harvests(made):
    """Entries of another machine, however many, do not make the log its own; without a yield the majority does."""
    header = header_of(made.header([("0043", "", "DET-3"), ("018D", "", "DET-3"), ("0057", "", "DET-2")]).encode(), "x")
    assert main_device(header, ELEMENTS, frozenset({0x57})) == RED
    assert main_device(header, ELEMENTS, frozenset()) == BLUE
    assert main_device(header, {}, frozenset({0x57})) is None
