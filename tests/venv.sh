# Sourced by checks that need Python: `make_venv FOLDER REQUIREMENTS` makes a virtual environment with the packages of a file.
# Needs python3 with venv and PyPI; as root on a Debian system it installs the former itself. It fails where it cannot: a
# check that is left out is not a check that passed.
make_venv() {
    if ! python3 -m venv "$1" >/dev/null 2>&1; then
        if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
            apt-get update -qq && apt-get install -y -qq python3 python3-venv >/dev/null
        fi
        if ! python3 -m venv "$1" >/dev/null 2>&1; then
            echo "$0 did NOT check anything: python3 with its module venv is missing (Debian: apt-get install python3-venv)" >&2
            exit 1
        fi
    fi
    "$1/bin/pip" install --quiet --disable-pip-version-check -r "$2"
}
