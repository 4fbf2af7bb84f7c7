#!/bin/sh
# Recomputes every episode of a store by other code, and compares.
#
#   run.sh PROGRAM [SITE.yaml]
#
# Without a site, the program invents its demonstration hospital for it. What is
# exported identifies patients: it goes to a private folder, removed at the end.
set -eu
program=$(realpath "$1")
here=$(cd "$(dirname "$0")" && pwd)
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
if [ $# -gt 1 ]; then
    site=$2
else
    "$program" demo --dir "$folder/demo" >"$folder/demo.txt" 2>&1 || { cat "$folder/demo.txt" >&2; exit 2; }
    site=$folder/demo/site.yaml
fi

ask() { # the form, the file, the query
    "$program" query --site "$site" --as "$1" "$3" >"$folder/$2"
}

# The demonstration has every feed; a feed that a site lacks is an empty table.
for table in issues labs measures events medicines patients recorded episodes evidence; do
    ask csv "$table.csv" "SELECT * FROM $table"
done
ask csv weight_for_age.csv "SELECT * FROM weight_for_age"
ask json policy.json "SELECT * FROM policy"
ask csv marks.csv "SELECT outcome, basis, coagulopathy, alternative, dose_band, course, mark, because FROM marks ORDER BY mark_row"
zone=$(sed -n 's/^time_zone: *\([^ #]*\).*/\1/p' "$site")

PYTHONDONTWRITEBYTECODE=1
export PYTHONDONTWRITEBYTECODE
python3 -m unittest discover -s "$here" -q
python3 "$here/recompute.py" worked "$here/../worked" "$here/../../queries/marks.csv"
python3 "$here/recompute.py" compare "$folder" "$folder/marks.csv" "$zone"
