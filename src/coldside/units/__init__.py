"""Text <-> SI at the edge, by kind of field.

`parse` reads, `show` shows, `KINDS` are the kinds with their spellings.  Read next: `kinds.py`.
"""

from coldside.units.kinds import KINDS as KINDS
from coldside.units.kinds import STANDARD_PRESSURE as STANDARD_PRESSURE
from coldside.units.kinds import ZERO_CELSIUS as ZERO_CELSIUS
from coldside.units.kinds import Kind as Kind
from coldside.units.kinds import Pressure as Pressure
from coldside.units.kinds import Quantity as Quantity
from coldside.units.kinds import Shown as Shown
from coldside.units.reading import CURLY as CURLY
from coldside.units.reading import decimal_point as decimal_point
from coldside.units.reading import parse as parse
from coldside.units.reading import typed as typed
from coldside.units.reading import wanted as wanted
from coldside.units.showing import UNIT as UNIT
from coldside.units.showing import retold as retold
from coldside.units.showing import show as show
from coldside.units.showing import system_of as system_of
