"""What the frames of one pass tell by themselves, for the commands that show it.

Touches nothing itself; reads what a bundle holds through the store.
"""

from __future__ import annotations

from harness.errors import AskedError, Problem

TYPE_CHECKING = False
if TYPE_CHECKING:
    from harness.plan.document import Title
    from harness.rig.captures.times import FrameTimes
    from harness.run.records import BundleRef
    from harness.store.sqlite import Store
    from harness.summary.within_frames import FramesWithin


def of_times(times: FrameTimes) -> FramesWithin | None:
    """Return what the frames of a capture tell; None: there are too few.

    Raises:
        AskedError: numpy is not installed.
    """
    from harness.summary.within_frames import frames_within

    try:
        return frames_within(times.opening, of=times.count)
    except ModuleNotFoundError as missing:
        if missing.name != "numpy":
            raise
        raise AskedError(
            Problem(
                code="extra-needed",
                what="--within needs numpy, which is not installed",
                do="python3 -m pip install 'bench-harness[analysis]', or leave --within out",
            )
        ) from None


def of_bundle(store: Store, title: Title, ref: BundleRef) -> FramesWithin | None:
    """Return what the frames of a kept pass tell, cut as the plan says; None: too few.

    Raises:
        AskedError: The title gives no frames, or they cannot be read.
        StoreError: The bundle is not what was kept.
    """
    from harness.rig.captures.declared import declared
    from harness.rig.captures.read import read_capture
    from harness.rules.meter import part_of
    from harness.store.unpacked import unpacked

    if title.frames is None:
        raise _no_frames(f"{title.title} reports figures and gives no frames")
    with unpacked(store, ref) as folder:
        path = folder / "captures" / title.frames.file
        if not path.is_file():
            raise _no_frames(f"the pass left no {title.frames.file}")
        capture = read_capture(str(path), declared(title.frames), part=part_of(title.cut))
    if capture.times is None or capture.troubles:
        trouble = capture.troubles[0].what if capture.troubles else "it holds no frame"
        raise _no_frames(f"{title.frames.file} cannot be taken: {trouble}")
    return of_times(capture.times)


def _no_frames(what: str) -> AskedError:
    return AskedError(
        Problem(
            code="no-frames",
            what=what,
            do="name a pass with frames, or leave --within out",
        )
    )
