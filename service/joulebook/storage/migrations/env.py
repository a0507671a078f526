"""Run by Alembic: the migrations go through the connection that ``storage.migrating`` opened.

That connection has begun a transaction, so all steps and their record are one commit.
"""

from alembic import context

context.configure(connection=context.config.attributes["connection"])
with context.begin_transaction():
    context.run_migrations()
