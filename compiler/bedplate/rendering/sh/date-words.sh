# date-words DAY MONTH YEAR TIME: prints that time (UTC, month as Jan to Dec) in seconds since 1970.
verb_date_words() {
    v_months=JanFebMarAprMayJunJulAugSepOctNovDec
    v_before=${v_months%%"$2"*}
    [ "$v_before" != "$v_months" ] || return 1
    date -u -d "$3-$((${#v_before} / 3 + 1))-$1 $4" +%s
}
