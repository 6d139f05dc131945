# real-node NODE: set v_real to the node without links.
# shellcheck disable=SC2034 # read by the verbs that use this one
verb_real_node() {
    v_real=$1
    [ ! -L "$1" ] || v_real=$(readlink -f -- "$1")
}
