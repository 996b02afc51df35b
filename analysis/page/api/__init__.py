"""What programs ask of the page. Each module here has a `router`; found by themselves.

Everything under `/api/` stands in its OpenAPI document, `/api/openapi.json`.
"""
