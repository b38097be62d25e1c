"""Made fields with known truth: the demo fields are written by it, tests measure against it.

A made field is driven, not drawn: a combine works its way over an outline pass by pass,
cuts what stands there, and its sensors report late, smeared and with noise. Loss falls
behind it by three sources, and stops are counted with frames. So everything `lossmap`
has to undo is in the log, and everything it should find is known: `Truth`.

    plan      what the field shall be
    outline   its edge, and the way of its passes
    land      what stands on it
    passes    where the machine goes
    track     how it goes there, what it cuts
    losses    what fell, and what goes with speed and dryness
    counts    stops, and frames laid at them
    log       what late and noisy sensors wrote, and what spoilt it
    field     all of it in order: `make`
    folder    written down as a farmer has it: `write`
    formats   the kinds of files that it writes

Nothing here is a model of a particular machine, place or person. Where a figure is not
taken from the crop table it is common practice, no source.
"""

from lossmap.synthetic.field import MadeField, Truth, make
from lossmap.synthetic.folder import US_COLUMNS, Layout, write
from lossmap.synthetic.plan import FT2_M2, OUTLINES, FieldPlan, Source

__all__ = ["FT2_M2", "OUTLINES", "US_COLUMNS", "FieldPlan", "Layout", "MadeField", "Source", "Truth", "make", "write"]
