# The bridge in one container: its configuration in /etc/joulebook-bridge, what waits in /spool.
FROM python:3.12-slim
RUN useradd --system --uid 10002 --groups dialout bridge && install -d -o bridge /spool
COPY clients/bridge /src
RUN pip install --no-cache-dir /src && rm -rf /src
USER bridge
VOLUME /spool
ENTRYPOINT ["joulebook-bridge"]
CMD ["run", "/etc/joulebook-bridge/bridge.toml"]
