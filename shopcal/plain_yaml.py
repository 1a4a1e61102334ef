"""YAML that says what it looks like: for files that people write by hand. Imports no Django."""

from __future__ import annotations

from typing import Any

import yaml


class PlainLoader(yaml.SafeLoader):
    """YAML as people mean it: dates stay text, no field twice, nothing by reference."""

    def compose_node(self, parent: yaml.Node | None, index: int) -> yaml.Node | None:
        event = self.peek_event()  # type: ignore[no-untyped-call]
        if getattr(event, "anchor", None):
            raise yaml.YAMLError(f"line {event.start_mark.line + 1}: & and * are not used here")
        return super().compose_node(parent, index)

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Any, Any]:
        seen: set[str] = set()
        for key, _ in node.value:
            line = key.start_mark.line + 1
            if not isinstance(key, yaml.ScalarNode) or key.tag != "tag:yaml.org,2002:str":
                raise yaml.YAMLError(f"line {line}: a field's name must be text")
            if key.value in seen:
                raise yaml.YAMLError(f"line {line}: “{key.value}” is there twice")
            seen.add(key.value)
        return super().construct_mapping(node, deep)


PlainLoader.yaml_implicit_resolvers = {
    first: [(tag, pattern) for tag, pattern in rules if tag != "tag:yaml.org,2002:timestamp"]
    for first, rules in yaml.SafeLoader.yaml_implicit_resolvers.items()
}
