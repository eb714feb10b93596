"""The numbers about one site: declared facts, each with unit, meaning and source."""
