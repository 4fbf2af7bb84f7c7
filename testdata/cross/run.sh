#!/bin/sh
# Recomputes every episode, unit and bag of invented hospitals by other code, and
# compares: the demonstration's, and those of the folders that are named.
#
#   run.sh PROGRAM [FOLDER...]     a folder holds site.yaml and the inbox
#   run.sh PROGRAM --site SITE     one store that is already marked, alone
#
# What is exported identifies patients: it goes to a private folder, removed at
# the end.
set -eu
program=$(realpath "$1")
shift
here=$(cd "$(dirname "$0")" && pwd)
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
PYTHONDONTWRITEBYTECODE=1
export PYTHONDONTWRITEBYTECODE

do_verb() { # a verb that may end incomplete (3): carelessness is what the hospitals are for
    "$program" "$@" >"$folder/said.txt" 2>&1 || [ $? = 3 ] || { cat "$folder/said.txt" >&2; exit 2; }
}

ask() { # the form, the file, the query
    "$program" query --site "$site" --as "$1" "$3" >"$folder/$2"
}

compare() { # a name, a site file
    site=$2
    # A feed that a site lacks is an empty table.
    for table in issues labs measures events medicines patients recorded episodes evidence units bags findings rules_run; do
        ask csv "$table.csv" "SELECT * FROM $table"
    done
    ask csv weight_for_age.csv "SELECT * FROM weight_for_age"
    ask json policy.json "SELECT * FROM policy"
    ask csv marks.csv "SELECT outcome, basis, coagulopathy, alternative, dose_band, course, mark, because FROM marks ORDER BY mark_row"
    zone=$(sed -n 's/^time_zone: *\([^ #]*\).*/\1/p' "$site")
    echo "hospital $1 ($zone):"
    python3 "$here/recompute.py" compare "$folder" "$folder/marks.csv" "$zone" || failed=1
}

python3 -m unittest discover -s "$here" -q
python3 "$here/recompute.py" worked "$here/../worked" "$here/../../queries/marks.csv"
failed=0
if [ "${1:-}" = --site ]; then
    compare "$2" "$2"
    exit $failed
fi
do_verb demo --dir "$folder/demo"
compare demo "$folder/demo/site.yaml"
for hospital; do
    do_verb ingest --site "$hospital/site.yaml"
    do_verb mark --site "$hospital/site.yaml"
    compare "$(basename "$hospital")" "$hospital/site.yaml"
done
exit $failed
