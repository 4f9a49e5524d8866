"""Whether a bundle is FHIR R4 and what our own profile asks."""
