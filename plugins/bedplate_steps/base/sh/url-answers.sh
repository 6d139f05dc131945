# url-answers TRUST URL: the address can be fetched. TRUST is "any" or "trusted", as for url-fetch.
# uses: url-fetch
verb_url_answers() {
    verb_url_fetch "$1" "$2" /dev/null
}
