#!/bin/sh
# Makes a certificate authority for the house and a server certificate for its
# broker: certificates.sh DIRECTORY NAME... where the names are what loggers and
# the daemon call the broker by (host names or IPv4 addresses). Run again it keeps
# the authority and renews the server's certificate. Keep ca.key off the broker.
set -eu
[ $# -ge 2 ] || { echo "usage: $0 DIRECTORY NAME..." >&2; exit 2; }
dir=$1; shift
umask 077
mkdir -p "$dir"
if [ ! -f "$dir/ca.key" ]; then
	openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 3650 \
		-subj "/CN=dewcase house authority" -addext "keyUsage=critical,keyCertSign,cRLSign" \
		-keyout "$dir/ca.key" -out "$dir/ca.pem" 2>/dev/null
fi
names=
for name; do
	case $name in
	*[!0-9.]*) names="$names${names:+,}DNS:$name" ;;
	*) names="$names${names:+,}IP:$name" ;;
	esac
done
openssl req -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -subj "/CN=$1" \
	-keyout "$dir/server.key" -out "$dir/server.csr" 2>/dev/null
printf 'subjectAltName=%s\nextendedKeyUsage=serverAuth\nbasicConstraints=CA:FALSE\n' "$names" >"$dir/server.ext"
openssl x509 -req -in "$dir/server.csr" -CA "$dir/ca.pem" -CAkey "$dir/ca.key" -CAcreateserial \
	-days 825 -extfile "$dir/server.ext" -out "$dir/server.pem" 2>/dev/null
rm -f "$dir/server.csr" "$dir/server.ext"
chmod 644 "$dir/ca.pem" "$dir/server.pem"
echo "made $dir/ca.pem, $dir/server.pem and $dir/server.key for $names"
