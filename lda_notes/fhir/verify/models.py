"""A second look at a bundle by the R4B models of fhir.resources, which are good R4 for the types that we emit.

The library is imported when it is first asked, since it costs a fifth of a second. It is never used to write
JSON: it would turn 2.50 into 2.5 and +00:00 into Z.
"""

from __future__ import annotations

from lda_notes.fhir.verify.faults import BundleFault, shown
from lda_notes.problems import Path


def model_check(bundle: object) -> tuple[BundleFault, ...]:
    """Return every fault that the models find in a bundle or a row of bulk data. Never raises."""
    from fhir.resources.R4B import get_fhir_model_class
    from pydantic import ValidationError

    try:
        name = bundle.get("resourceType", "Bundle") if isinstance(bundle, dict) else "Bundle"
        get_fhir_model_class(name).model_validate(bundle)
    except ValidationError as error:
        return tuple(
            _fault(one["loc"], one["type"], one.get("input"), one["msg"].removeprefix("Value error, "))
            for one in error.errors(include_url=False, include_context=False)
        )
    except KeyError as error:
        # The models look a resource type up by its name and let the look-up fail.
        return (_fault((), "resource-type", str(error), "A resource type is not one of R4B."),)
    except Exception as error:
        # Whatever else they stumble over is a bundle that they cannot read; a traceback would help nobody.
        return (_fault((), type(error).__name__, None, f"The models cannot read the bundle: {error}"),)
    return ()


def _fault(path: Path, rule: str, value: object, message: str) -> BundleFault:
    entry = path[1] if len(path) > 1 and path[0] == "entry" and isinstance(path[1], int) else None
    return BundleFault(
        entry=entry,
        path=path,
        rule=f"models-{rule.rpartition('.')[2]}",
        value=shown(value),
        message=message if message.endswith(".") else f"{message}.",
        todo="Correct the value there.",
    )
