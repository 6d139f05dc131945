# nearest-name NAME (names on standard input, one a line): prints the one that takes the fewest changes of a letter, at
# most two; nothing where none is near, or where there is no awk.
verb_nearest_name() {
    command -v awk >/dev/null 2>&1 || return 0
    # Rows of the Wagner-Fischer table; two letters that changed places cost one change.
    awk -v name="$1" '
        BEGIN { n = length(name); best = 3; split(name, a, "") }
        { m = length($0) }
        m > n + 2 || m < n - 2 || / / { next }
        substr($0, 1, 1) != substr(name, 1, 1) && substr($0, 2, 1) != substr(name, 2, 1) { next }
        {
            for (j = 0; j <= m; j++) row[0, j] = j
            for (i = 1; i <= n; i++) {
                row[i, 0] = low = i
                for (j = 1; j <= m; j++) {
                    c = substr($0, j, 1)
                    v = row[i - 1, j - 1] + (substr(name, i, 1) != c)
                    if (row[i - 1, j] + 1 < v) v = row[i - 1, j] + 1
                    if (row[i, j - 1] + 1 < v) v = row[i, j - 1] + 1
                    if (i > 1 && j > 1 && substr(name, i, 1) == substr($0, j - 1, 1) && substr(name, i - 1, 1) == c &&
                        row[i - 2, j - 2] + 1 < v) v = row[i - 2, j - 2] + 1
                    row[i, j] = v
                    if (v < low) low = v
                }
                if (low >= best) next
            }
            if (row[n, m] < best) { best = row[n, m]; found = $0 }
        }
        END { if (found != "") print found }
    '
}
