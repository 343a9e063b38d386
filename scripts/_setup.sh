# Shared by scripts/start and scripts/test: makes .venv and lays into it what the lock files name.
# Sourced, not run. Each step says what it does and how long it took, and does nothing when nothing has changed.

log=.venv/set-up.log
step=0

say() { printf '%s\n' "$*"; }

fail() {
    printf '\n%s\n' "$*" >&2
    exit 1
}

# begin WORDS: announces the next of $steps steps.
begin() {
    step=$((step + 1))
    began=$(date +%s)
    printf '%s/%s %s … ' "$step" "$steps" "$1"
}

# end WORDS: closes the step's line.
end() { printf '%s (%s s)\n' "$1" "$(($(date +%s) - began))"; }

# give_up WORDS: closes the step's line with the end of its log and what to do.
give_up() {
    printf 'failed\n\n'
    grep -v '^WARNING' "$log" | tail -n 12 | cut -c 1-300 >&2
    fail "$1
(all that was said: $log)"
}

# find_python: sets $python to a Python of 3.11 or later that can make environments.
find_python() {
    old="" bare=""
    for name in ${PYTHON:-python3 python3.14 python3.13 python3.12 python3.11 python}; do
        version=$("$name" -c 'import sys; print("%d.%d.%d" % sys.version_info[:3])' 2>/dev/null) || continue
        if ! "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))'; then
            old="$old $name ($version)"
        elif ! "$name" -c 'import ensurepip, venv' 2>/dev/null; then
            bare="$bare $name ($version)"
        else
            python=$name
            return
        fi
    done
    printf 'failed\n'
    [ -z "$bare" ] || fail "Found$bare, but without the modules that make environments.
On Debian or Ubuntu: apt-get install python3-venv. Then start this again."
    [ -z "$old" ] || fail "Found only$old, and Truemile needs Python 3.11 or later.
Install one and start this again, or name it: PYTHON=/where/it/is $0"
    fail "Found no Python on the PATH. Truemile needs Python 3.11 or later with its venv module.
On Debian or Ubuntu: apt-get install python3 python3-venv. Then start this again."
}

make_environment() {
    begin "Python environment"
    if .venv/bin/python -c 'import pip, sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
        end "ready"
        return
    fi
    find_python
    mkdir -p .venv
    "$python" -m venv --clear .venv >"${TMPDIR:-/tmp}/truemile-venv.$$" 2>&1 || {
        printf 'failed\n\n'
        cat "${TMPDIR:-/tmp}/truemile-venv.$$" >&2
        rm -f "${TMPDIR:-/tmp}/truemile-venv.$$"
        fail "No environment could be made in .venv: is the disk full, or the folder not yours to write in?"
    }
    rm -f "${TMPDIR:-/tmp}/truemile-venv.$$"
    end "made from Python $version"
}

# lay_packages run|dev: installs the locked packages, each checked against its hash.
lay_packages() {
    begin "Python packages"
    wanted=$(cksum <"requirements/$1.txt")
    if [ "$(cat ".venv/.laid-$1" 2>/dev/null)" = "$wanted" ]; then
        end "ready"
        return
    fi
    rm -f .venv/.laid-run .venv/.laid-dev
    .venv/bin/python -m pip install --disable-pip-version-check --require-hashes -r "requirements/$1.txt" \
        >"$log" 2>&1 || give_up "The packages could not be installed. They come from the Python package index:
check the network (and its proxy or certificate settings for pip), then start this again."
    # What the development set holds, the running set is a part of.
    [ "$1" = run ] || cksum <requirements/run.txt >.venv/.laid-run
    printf '%s\n' "$wanted" >".venv/.laid-$1"
    end "installed"
}

build_front_end() {
    begin "Front end"
    .venv/bin/python hatch_build.py >"$log" 2>&1 || give_up "The front end could not be built."
    end "ready"
}

install_truemile() {
    begin "Truemile itself"
    wanted=$(cat pyproject.toml hatch_build.py src/truemile/__init__.py | cksum)
    if [ "$(cat .venv/.laid-truemile 2>/dev/null)" = "$wanted" ] && [ -x .venv/bin/truemile ]; then
        end "ready"
        return
    fi
    .venv/bin/python -m pip install --disable-pip-version-check --no-deps --no-build-isolation --editable . \
        >"$log" 2>&1 || give_up "Truemile could not be installed into .venv."
    printf '%s\n' "$wanted" >.venv/.laid-truemile
    end "installed"
}

# set_up run|dev: all of the above, four steps.
set_up() {
    unset PYTHONPATH PYTHONHOME PIP_USER PIP_TARGET PIP_PREFIX
    export PYTHONNOUSERSITE=1
    make_environment
    lay_packages "$1"
    build_front_end
    install_truemile
}
