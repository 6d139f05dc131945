# link-runs MAC|INTERFACE needed|optional ADDRESS/LENGTH...: that link of the running system has each of the addresses, or
# if none is named, one with global scope. An optional link without a carrier has nothing to show.
# uses: card-name
verb_link_runs() {
    v_name=$(verb_card_name "$1") || return 1
    v_need=$2
    shift 2
    v_carrier=0
    read -r v_carrier 2>/dev/null <"/sys/class/net/$v_name/carrier"
    if [ "$v_need" = optional ] && [ "$v_carrier" != 1 ]; then
        printf '%s is optional and not connected: there is nothing to look at\n' "$v_name"
        return 0
    fi
    ip -o address show dev "$v_name" scope global >"$WORK/addresses" || return 1
    for v_address in "$@"; do
        if ! grep -Fq " $v_address " "$WORK/addresses"; then
            printf '%s has not the address %s\n' "$v_name" "$v_address" >&2
            return 1
        fi
    done
    [ -s "$WORK/addresses" ] && return 0
    printf '%s has no address\n' "$v_name" >&2
    return 1
}
