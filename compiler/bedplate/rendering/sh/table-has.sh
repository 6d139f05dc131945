# table-has LINE: the table that was read has exactly that line.
verb_table_has() {
    case $NEW_LINE$TABLE$NEW_LINE in
        *"$NEW_LINE$1$NEW_LINE"*) ;;
        *) return 1 ;;
    esac
}
