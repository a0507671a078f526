"""The English of the pages, apart from what only a template or a refusal says."""
