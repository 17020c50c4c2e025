"""State <-> text, exactly: what is read back is equal to what was written, NaN and None included."""

from __future__ import annotations

from typing import Any, Generic, TypeVar

from pydantic import ConfigDict, TypeAdapter, ValidationError

from controller.errors import StoreError

State = TypeVar("State")


class StateCodec(Generic[State]):
    """Writes and reads states of one class: frozen dataclasses of plain values, nested as they like.

    JSON knows no NaN; like most readers of it we write the bare words NaN and Infinity, so that null stays None.
    """

    def __init__(self, kind: type[State]) -> None:
        # Wrapped in a tuple of one: pydantic takes no settings for a dataclass itself.
        wrapped: Any = tuple[kind]  # type: ignore[valid-type]
        self._adapter: TypeAdapter[tuple[State]] = TypeAdapter(
            wrapped, config=ConfigDict(ser_json_inf_nan="constants", allow_inf_nan=True)
        )

    def dump(self, state: State) -> str:
        """The state as JSON text."""
        return self._adapter.dump_json((state,)).decode()

    def load(self, text: str) -> State:
        """The state that `dump` wrote. Raises StoreError when the text is another version's or damaged."""
        try:
            return self._adapter.validate_json(text, strict=True)[0]
        except ValidationError as error:
            first = error.errors()[0]
            where = ".".join(str(part) for part in first["loc"][1:])
            raise StoreError(
                f"the checkpoint does not fit this version of the program ({where}: {first['msg']}); the chamber must"
                " be started anew: give another --out and keep the old record"
            ) from error
