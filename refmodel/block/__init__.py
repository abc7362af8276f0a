"""The register block: one behaviour a module, put together by `RegisterBlock` in `registers`."""
