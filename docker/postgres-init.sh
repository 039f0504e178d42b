#!/bin/sh
# Runs once, when the database folder is empty: an owner that migrates, an application role that owns nothing, and the
# nightly role, which the application takes to read the list of organisations and does not inherit.
# The first migrations grant those roles the rows.
set -eu

psql --set ON_ERROR_STOP=1 --username "${POSTGRES_USER:-postgres}" --dbname postgres --no-psqlrc \
    --set owner_password="$COILBOOK_OWNER_PASSWORD" --set app_password="$COILBOOK_APP_PASSWORD" <<'SQL'
CREATE ROLE coilbook_owner LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS PASSWORD :'owner_password';
CREATE ROLE coilbook_app LOGIN NOINHERIT NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS PASSWORD :'app_password';
CREATE ROLE coilbook_nightly NOLOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS;
GRANT coilbook_nightly TO coilbook_app;
CREATE DATABASE coilbook OWNER coilbook_owner ENCODING 'UTF8' TEMPLATE template0;
REVOKE ALL ON DATABASE coilbook FROM PUBLIC;
GRANT CONNECT ON DATABASE coilbook TO coilbook_app;
SQL
