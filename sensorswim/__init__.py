"""sensorswim: front-crawl technique measured with wrist and ankle inertial sensors."""

from __future__ import annotations

import sys
from collections.abc import Callable
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sensorswim.analyse import analyse

__version__ = "0.1.0"
__all__ = ["__version__", "analyse"]


class _Package(ModuleType):
    """The package, whose `analyse` is the function and is imported only when asked for.

    Importing the submodule of that name would put the module in the function's place; the
    setter leaves it out.
    """

    @property
    def analyse(self) -> Callable[..., Any]:
        """The function `sensorswim.analyse.analyse`."""
        from sensorswim.analyse import analyse

        return analyse

    @analyse.setter
    def analyse(self, module: object) -> None:
        """Do nothing: the submodule is found in `sys.modules`."""


sys.modules[__name__].__class__ = _Package
