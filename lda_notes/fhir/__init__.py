"""FHIR R4 resources from records, their verification, and the way back."""
