"""Text -> nodes with their places, by PyYAML's C composer.

Pure. The composer is given a resolver of our own that resolves nothing: every plain scalar
stays text. What YAML can do and a plan must not is refused here: several documents, tags,
anchors that hold themselves, aliases that multiply.
"""

from __future__ import annotations

from yaml._yaml import CParser
from yaml.error import MarkedYAMLError
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from harness.errors import Problem
from harness.plan.characters import odd_characters
from harness.plan.source import Source, shape

#: Nodes that aliases may make out of the nodes written: this many, or ten for each.
_MOST_NODES = 20_000
_MOST_GROWTH = 10


class _Composer(CParser):
    """The composer with nothing resolved: a node without a tag gets an empty one."""

    def resolve(self, kind: object, value: object, implicit: object) -> str:
        return ""

    def descend_resolver(self, parent: object, index: object) -> None:
        pass

    def ascend_resolver(self) -> None:
        pass


def parse(text: str, file: str) -> Source:
    """Take the text of a plan apart.

    Args:
        text: The whole file, decoded, every line end as one character.
        file: Its path, for messages.

    Returns:
        The source, with its root, or with what keeps it from having one.
    """
    source = Source(file=file, lines=tuple(text.split("\n")))
    problems = odd_characters(text, source)
    if problems:
        return _refused(source, problems)
    try:
        root = _Composer(text).get_single_node()
    except MarkedYAMLError as error:
        from harness.plan.complaints import complaint

        return _refused(source, (complaint(error, source),))
    except RecursionError:
        return _refused(source, (_too_deep(source),))
    if root is None or (isinstance(root, ScalarNode) and not root.value and not root.tag):
        return _refused(source, (_empty(source),))
    # Without these two characters there are no tags and no anchors: nothing to look for.
    problems = _walk(root, source) if "!" in text or "&" in text else ()
    if problems:
        return _refused(source, problems)
    if not isinstance(root, MappingNode):
        return _refused(source, (_wrong_top(root, source),))
    return Source(file=file, lines=source.lines, root=root)


def _refused(source: Source, problems: tuple[Problem, ...]) -> Source:
    return Source(file=source.file, lines=source.lines, problems=problems)


def _too_deep(source: Source) -> Problem:
    return Problem(
        code="too-deep",
        what="lists and mappings stand too deep in one another",
        place=source.place(1, 1),
        do="a plan needs no more than eight levels",
    )


def _empty(source: Source) -> Problem:
    return Problem(
        code="empty-plan",
        what="the plan is empty",
        place=source.place(1, 1),
        do="write at least plan, settings, titles and passes",
    )


def _wrong_top(root: Node, source: Source) -> Problem:
    return Problem(
        code="wrong-top",
        what=f"a plan is a mapping, and {shape(root)} stands at the top",
        place=source.place_of(root),
        do="write keys such as plan:, settings:, titles: and passes: at the left margin",
    )


def _walk(root: Node, source: Source) -> tuple[Problem, ...]:
    """Visit every node once: tags, circles, and the size after all aliases.

    A node's size is that of its parts together. It is known when the node is left; a node
    that is met again before that holds itself.
    """
    problems: list[Problem] = []
    sizes: dict[int, int] = {}
    bare = any("! " in line or line.endswith("!") for line in source.lines)
    stack: list[tuple[Node, bool]] = [(root, False)]
    while stack:
        node, leaving = stack.pop()
        key = id(node)
        if isinstance(node, ScalarNode):
            if (node.tag or (bare and _begins_with_mark(node, source))) and key not in sizes:
                problems.append(_tagged(node, source))
            sizes[key] = 1
            continue
        parts: list[Node] = (
            node.value
            if isinstance(node, SequenceNode)
            else [part for pair in node.value for part in pair]
        )
        if leaving:
            sizes[key] = 1 + sum(map(sizes.__getitem__, map(id, parts)))
            continue
        known = sizes.get(key)
        if known is not None:
            if known == 0:
                return (_circle(node, source),)
            continue
        if node.tag:
            problems.append(_tagged(node, source))
        sizes[key] = 0
        stack.append((node, True))
        stack += [(part, False) for part in parts]
    if sizes[id(root)] > max(_MOST_NODES, _MOST_GROWTH * len(sizes)):
        return (_growth(root, sizes, source),)
    return tuple(problems)


def _begins_with_mark(node: ScalarNode, source: Source) -> bool:
    # A lone "!" is a tag that the composer does not report, and is lost from the text.
    return source.lines[node.start_mark.line][node.start_mark.column :].startswith("!")


def _tagged(node: Node, source: Source) -> Problem:
    line = node.start_mark.line + 1
    tag = node.tag.replace("tag:yaml.org,2002:", "!!") or "!"
    return Problem(
        code="tag",
        what=f"a tag stands in line {line}: {tag}",
        place=source.place_of(node),
        do="take the tag out; put the text in quotes if it is to begin with '!'",
    )


def _circle(node: Node, source: Source) -> Problem:
    return Problem(
        code="alias-circle",
        what=f"the anchor in line {node.start_mark.line + 1} holds an alias of itself",
        place=source.place(node.start_mark.line + 1, node.start_mark.column + 1),
        do="write the part out once more instead of the alias",
    )


def _growth(root: Node, sizes: dict[int, int], source: Source) -> Problem:
    return Problem(
        code="alias-growth",
        what=(
            f"aliases make {sizes[id(root)]} values of the {len(sizes)} written: "
            f"the alias limit is {max(_MOST_NODES, _MOST_GROWTH * len(sizes))}"
        ),
        place=source.place(1, 1),
        do="write the parts out, or fewer of them",
    )
