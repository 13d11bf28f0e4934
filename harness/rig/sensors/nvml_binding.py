"""NVIDIA's management library itself, through nvidia-ml-py.

Touches the driver. The binding is imported and the library opened when one of these is
made: on a machine without the driver that fails at once, and cleanly.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from typing import Any

from harness.rig.sensors.nvml import FUNCTION_NOT_FOUND, Number, NvmlError, Text

#: Members of the union of a field's value, by NVML's number for its type.
_VALUES = ("dVal", "uiVal", "ulVal", "ullVal", "sllVal", "siVal", "usVal")


class NvmlBinding:
    """The library. Fits ``harness.rig.sensors.nvml.Nvml``.

    Raises:
        NvmlError: there is no driver, or its library cannot be used.
        ImportError: nvidia-ml-py is not installed.
    """

    def __init__(self) -> None:
        self._nvml: Any = importlib.import_module("pynvml")
        self._cards: dict[str, Any] = {}
        self._numbers = _numbers(self._nvml)
        self._texts = _texts(self._nvml)
        self._asked(self._nvml.nvmlInit)

    def driver(self) -> str:
        """Return the driver's version."""
        return str(self._asked(self._nvml.nvmlSystemGetDriverVersion))

    def cards(self) -> tuple[str, ...]:
        """Return the UUIDs of the cards."""
        found = {}
        for number in range(self._asked(self._nvml.nvmlDeviceGetCount)):
            card = self._asked(self._nvml.nvmlDeviceGetHandleByIndex, number)
            found[str(self._asked(self._nvml.nvmlDeviceGetUUID, card))] = card
        self._cards = found
        return tuple(found)

    def number(self, card: str, what: Number) -> int:
        """Return a number of the card with this UUID."""
        return int(self._asked(self._numbers[what], self._card(card)))

    def text(self, card: str, what: Text) -> str:
        """Return a text of the card with this UUID."""
        return str(self._asked(self._texts[what], self._card(card)))

    def _card(self, uuid: str) -> Any:
        if uuid not in self._cards:
            self._cards[uuid] = self._asked(self._nvml.nvmlDeviceGetHandleByUUID, uuid)
        return self._cards[uuid]

    def _asked(self, function: Callable[..., Any], *arguments: Any) -> Any:
        try:
            return function(*arguments)
        except self._nvml.NVMLError as error:
            raise NvmlError(int(error.value), str(error)) from error
        except AttributeError as error:
            # An older binding has no such function.
            raise NvmlError(FUNCTION_NOT_FOUND, str(error)) from error


def _numbers(n: Any) -> dict[Number, Callable[[Any], int]]:
    """Return how each number is asked for."""
    return {
        Number.TEMPERATURE: lambda c: n.nvmlDeviceGetTemperature(c, n.NVML_TEMPERATURE_GPU),
        Number.MEMORY_TEMPERATURE: lambda c: _field(n, c, n.NVML_FI_DEV_MEMORY_TEMP),
        Number.SLOWDOWN: lambda c: n.nvmlDeviceGetTemperatureThreshold(
            c, n.NVML_TEMPERATURE_THRESHOLD_SLOWDOWN
        ),
        Number.SHUTDOWN: lambda c: n.nvmlDeviceGetTemperatureThreshold(
            c, n.NVML_TEMPERATURE_THRESHOLD_SHUTDOWN
        ),
        Number.MARGIN: lambda c: n.nvmlDeviceGetMarginTemperature(c),
        Number.SLOWDOWN_MARGIN: lambda c: _field(n, c, n.NVML_FI_DEV_TEMPERATURE_SLOWDOWN_TLIMIT),
        Number.SHUTDOWN_MARGIN: lambda c: _field(n, c, n.NVML_FI_DEV_TEMPERATURE_SHUTDOWN_TLIMIT),
        Number.CLOCK: lambda c: n.nvmlDeviceGetClockInfo(c, n.NVML_CLOCK_GRAPHICS),
        Number.MEMORY_CLOCK: lambda c: n.nvmlDeviceGetClockInfo(c, n.NVML_CLOCK_MEM),
        Number.POWER: lambda c: n.nvmlDeviceGetPowerUsage(c),
        Number.POWER_LIMIT: lambda c: n.nvmlDeviceGetEnforcedPowerLimit(c),
        Number.POWER_LIMIT_DEFAULT: lambda c: n.nvmlDeviceGetPowerManagementDefaultLimit(c),
        Number.POWER_LIMIT_LEAST: lambda c: n.nvmlDeviceGetPowerManagementLimitConstraints(c)[0],
        Number.POWER_LIMIT_MOST: lambda c: n.nvmlDeviceGetPowerManagementLimitConstraints(c)[1],
        Number.LOAD: lambda c: n.nvmlDeviceGetUtilizationRates(c).gpu,
        Number.REASONS: lambda c: _reasons(n, c),
        Number.LINK_GENERATION: lambda c: n.nvmlDeviceGetCurrPcieLinkGeneration(c),
        Number.LINK_WIDTH: lambda c: n.nvmlDeviceGetCurrPcieLinkWidth(c),
        Number.LINK_GENERATION_CARD: lambda c: n.nvmlDeviceGetGpuMaxPcieLinkGeneration(c),
        Number.LINK_GENERATION_SYSTEM: lambda c: n.nvmlDeviceGetMaxPcieLinkGeneration(c),
        Number.LINK_WIDTH_SYSTEM: lambda c: n.nvmlDeviceGetMaxPcieLinkWidth(c),
        Number.LINK_REPLAYS: lambda c: n.nvmlDeviceGetPcieReplayCounter(c),
    }


def _texts(n: Any) -> dict[Text, Callable[[Any], object]]:
    """Return how each text is asked for."""
    return {
        Text.MODEL: lambda c: n.nvmlDeviceGetName(c),
        Text.ADDRESS: lambda c: _plain(n.nvmlDeviceGetPciInfo(c).busId),
        Text.FIRMWARE: lambda c: n.nvmlDeviceGetVbiosVersion(c),
    }


def _field(n: Any, card: Any, field: int) -> int:
    """Return one of the values that have a number of their own instead of a function."""
    value = n.nvmlDeviceGetFieldValues(card, [field])[0]
    if value.nvmlReturn != n.NVML_SUCCESS:
        raise n.NVMLError(value.nvmlReturn)
    return int(getattr(value.value, _VALUES[value.valueType]))


def _reasons(n: Any, card: Any) -> int:
    """Return the bits by their present name, or by the one they had before driver 535."""
    try:
        return int(n.nvmlDeviceGetCurrentClocksEventReasons(card))
    except n.NVMLError as error:
        if error.value != FUNCTION_NOT_FOUND:
            raise
        return int(n.nvmlDeviceGetCurrentClocksThrottleReasons(card))


def _plain(text: bytes | str) -> str:
    return text.decode("ascii", "replace") if isinstance(text, bytes) else text
