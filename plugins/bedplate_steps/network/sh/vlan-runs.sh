# vlan-runs NAME ID MAC|INTERFACE needed|optional ADDRESS/LENGTH...: the running system has that VLAN on that card, up, with
# each of the addresses (see link-runs). Where it is optional and the card has no carrier, there is nothing to look at.
# uses: card-name link-runs
verb_vlan_runs() {
    v_vlan=$1 v_id=$2
    v_card=$(verb_card_name "$3") || return 1
    v_need=$4
    shift 4
    v_carrier=0
    read -r v_carrier 2>/dev/null <"/sys/class/net/$v_card/carrier"
    if [ "$v_need" = optional ] && [ "$v_carrier" != 1 ]; then
        printf '%s is optional and %s not connected: there is nothing to look at\n' "$v_vlan" "$v_card"
        return 0
    fi
    if ! ip -d -o link show dev "$v_vlan" >"$WORK/vlan" 2>/dev/null; then
        printf 'there is no link %s\n' "$v_vlan" >&2
        return 1
    fi
    if ! grep -Fq ": $v_vlan@$v_card: " "$WORK/vlan" || ! grep -Eq " vlan protocol 802\.1Q id $v_id( |\$)" "$WORK/vlan"; then
        printf '%s is not the VLAN %s on %s\n' "$v_vlan" "$v_id" "$v_card" >&2
        return 1
    fi
    if ! grep -Eq '<([^>]*,)?UP[,>]' "$WORK/vlan"; then
        printf '%s is not up\n' "$v_vlan" >&2
        return 1
    fi
    verb_link_runs "$v_vlan" "$v_need" "$@"
}
