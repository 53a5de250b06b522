# The service as an image: built in one stage, run in another that holds no compiler, no npm and no root.
# The base is pinned by tag; a digest would be firmer, and whoever publishes an image should add it.
# This file has not been built where it was written (no container engine there); tests check what they can.

FROM python:3.11-slim-bookworm AS build
WORKDIR /build
RUN python -m venv /opt/houseband && pip install --no-cache-dir uv
# What changes seldom comes first: the dependencies stay cached while the code changes.
COPY requirements.lock pyproject.toml ./
RUN uv pip compile --quiet --no-header --no-annotate --constraint requirements.lock pyproject.toml -o run.lock \
 && uv pip install --no-cache --compile-bytecode --python /opt/houseband/bin/python --requirement run.lock
COPY README.md LICENSE hatch_build.py package.json package-lock.json .npmrc ./
COPY rules rules
COPY migrations migrations
COPY simulator simulator
COPY service service
RUN uv pip install --no-cache --compile-bytecode --python /opt/houseband/bin/python --no-deps .

FROM python:3.11-slim-bookworm
RUN useradd --system --uid 10001 --home-dir /var/lib/houseband --create-home --shell /usr/sbin/nologin houseband
COPY --from=build /opt/houseband /opt/houseband
ENV PATH=/opt/houseband/bin:$PATH \
    PYTHONUNBUFFERED=1 \
    HOUSEBAND_DATABASE_URL=sqlite+aiosqlite:////var/lib/houseband/houseband.db
USER houseband
WORKDIR /var/lib/houseband
VOLUME /var/lib/houseband
EXPOSE 8000
# The state for machines answers only when the service does.
HEALTHCHECK --interval=30s --timeout=5s --start-period=30s --retries=3 \
  CMD ["python", "-c", "import urllib.request as r; r.urlopen('http://127.0.0.1:8000/api/state', timeout=4)"]
# In exec form, so that the service itself hears the request to stop.
CMD ["houseband", "run"]
