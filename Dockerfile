FROM python:3.11-slim-bookworm AS environment
COPY requirements/base.txt /requirements.txt
RUN python -m venv /opt/coilbook \
    && /opt/coilbook/bin/pip install --require-hashes --no-cache-dir --disable-pip-version-check -r /requirements.txt

FROM python:3.11-slim-bookworm
ENV PATH=/opt/coilbook/bin:$PATH \
    PYTHONUNBUFFERED=1 \
    PYTHONDONTWRITEBYTECODE=1 \
    COILBOOK_NO_BOOTSTRAP=1 \
    COILBOOK_VAR_DIR=/var/lib/coilbook
RUN useradd --system --uid 10001 --user-group --no-create-home coilbook \
    && install -d -o coilbook -g coilbook -m 0700 /var/lib/coilbook
COPY --from=environment /opt/coilbook /opt/coilbook
WORKDIR /srv/coilbook
COPY . .
RUN python -m compileall -q .
USER coilbook
EXPOSE 8000
# The header is that of the proxy in front, without which a secure service would answer with a redirect.
HEALTHCHECK --interval=15s --timeout=5s --start-period=20s --retries=3 \
    CMD ["python", "-c", "from urllib.request import Request, urlopen; urlopen(Request('http://127.0.0.1:8000/healthz', headers={'X-Forwarded-Proto': 'https'}), timeout=4)"]
CMD ["gunicorn", "config.wsgi:application", "--bind", "0.0.0.0:8000", "--worker-class", "gthread", "--workers", "2", "--threads", "8", "--worker-tmp-dir", "/dev/shm", "--no-control-socket", "--access-logfile", "-"]
