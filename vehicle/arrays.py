"""The type of a number that may be one value or an array of operating points or draws."""

from typing import TypeAlias

import numpy as np

Values: TypeAlias = float | np.ndarray
