# The bridge in one container: its configuration in /etc/joulebook-bridge, what waits in /spool.
# Every package is pinned with its checksum (docker/bridge.requirements.txt, made by .ci/lock).
FROM python:3.12-slim AS build
COPY docker/bridge.requirements.txt docker/build.requirements.txt /pins/
RUN python -m venv --without-pip /opt/joulebook-bridge \
    && pip --python /opt/joulebook-bridge install --no-cache-dir --require-hashes -r /pins/bridge.requirements.txt \
    && pip install --no-cache-dir --require-hashes --only-binary :all: -r /pins/build.requirements.txt
COPY clients/bridge /src
RUN pip wheel --no-cache-dir --no-deps --no-build-isolation --wheel-dir /wheels /src \
    && pip --python /opt/joulebook-bridge install --no-cache-dir --no-deps --no-index /wheels/*.whl

FROM python:3.12-slim
RUN useradd --system --uid 10002 --no-create-home --home-dir /spool --groups dialout bridge \
    && install -d -m 0700 -o bridge /spool
COPY --from=build /opt/joulebook-bridge /opt/joulebook-bridge
ENV PATH=/opt/joulebook-bridge/bin:$PATH PYTHONDONTWRITEBYTECODE=1
USER 10002
VOLUME /spool
ENTRYPOINT ["joulebook-bridge"]
CMD ["run", "/etc/joulebook-bridge/bridge.toml"]
