"""What a record must say about itself to be read without anything else: columns, sizes, and copies of the files."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from hashlib import sha256

OTHER_MIX = "mix "  # with its name: kind of the text of a mix that single boards may be of, beside "mix" of the cycle


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """The head of one cycle.

    tags: analog inputs in frame order; computed: (tag, text, unit) of the computed columns.
    input_words, output_words: sizes of the two blocks.  scan_s: the scan.
    texts: name -> text of every file in force (chamber, points, recipe, mix, ...), word for word.
    facts: what else a reader wants to know: chamber, recipe, mix, seed, link, version.
    """

    tags: tuple[str, ...]
    computed: tuple[tuple[str, str, str], ...]
    input_words: int
    output_words: int
    scan_s: float
    texts: Mapping[str, str] = field(default_factory=dict)
    facts: Mapping[str, str | int | float | bool | None] = field(default_factory=dict)

    @property
    def columns(self) -> tuple[str, ...]:
        """Tags of all columns of a minute: analog inputs, then computed ones."""
        return (*self.tags, *(tag for tag, _text, _unit in self.computed))

    @property
    def row_words(self) -> int:
        """Words of one scan in a frame block: age, inputs, outputs."""
        return 1 + self.input_words + self.output_words

    def to_json(self) -> str:
        """The same header always gives the same text."""
        texts = {name: {"sha256": sha256(text.encode()).hexdigest(), "text": text} for name, text in self.texts.items()}
        content = {
            "tags": self.tags,
            "computed": self.computed,
            "input_words": self.input_words,
            "output_words": self.output_words,
            "scan_s": self.scan_s,
            "texts": texts,
            "facts": dict(self.facts),
        }
        return json.dumps(content, sort_keys=True, ensure_ascii=False)

    @staticmethod
    def from_json(text: str) -> Header:
        """Read back what `to_json` wrote. Raises ValueError when it is something else."""
        try:
            content = json.loads(text)
            return Header(
                tags=tuple(content["tags"]),
                computed=tuple((tag, words, unit) for tag, words, unit in content["computed"]),
                input_words=content["input_words"],
                output_words=content["output_words"],
                scan_s=content["scan_s"],
                texts={name: entry["text"] for name, entry in content["texts"].items()},
                facts=content["facts"],
            )
        except (KeyError, TypeError) as error:
            raise ValueError(f"this is no header of a record: {error!r}") from None
