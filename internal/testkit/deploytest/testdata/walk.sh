# Sourced by each walk through INSTALL.md inside its namespaces.
set -euo pipefail
export PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin HOME=/root
ip link set lo up
echo 127.0.0.1 broker.home roof.example.org >>/etc/hosts
cd /root/dewcase

# follow does what a block of the document says, line by line.
follow() {
	while IFS= read -r line <&3; do
		echo "+ $line"
		line=${line//THE HASH/${hash:-}}
		line=${line//THE PASSWORD OF USER dewcase/d-secret}
		case $line in
		"dewcase password"*) hash=$(echo 'wet battens' | eval "$line") ;;
		*) eval "$line" </dev/null ;;
		esac
	done 3<"$1"
}
seen() { echo "SEEN $1: $2"; }
code() { curl -sS -o /dev/null -w '%{http_code}' "$@"; }
until_ready() {
	for _ in $(seq 600); do
		[ "$(code http://127.0.0.1:8480/readyz)" = 200 ] && return
		sleep 0.2
	done
	curl -sS http://127.0.0.1:8480/readyz
	return 1
}
# proxy puts nginx before the daemon, as the document says.
proxy() {
	deploy/certificates.sh /root/proxy roof.example.org
	cp /root/proxy/server.pem /etc/ssl/roof.pem
	cp /root/proxy/server.key /etc/ssl/roof.key
	{ echo 'events {} http { access_log off;'; cat /root/blocks/nginx; echo '}'; } >/root/nginx.conf
	mkdir -p /var/log/nginx
	nginx -c /root/nginx.conf
	through=(--cacert /root/proxy/ca.pem --resolve roof.example.org:443:127.0.0.1)
}
# enter sets the password by the code, through the proxy, as a person does.
enter() {
	seen "a stranger asks" "$(code "${through[@]}" https://roof.example.org/api/cases)"
	seen "a stranger writes" "$(code "${through[@]}" -X PUT --data-binary @/root/house.yaml \
		https://roof.example.org/api/cases/larkfield-9/file)"
	seen "a wrong code" "$(code "${through[@]}" -d code=ABC -d password=wet+battens -d again=wet+battens \
		https://roof.example.org/login)"
	seen "the code" "$(code "${through[@]}" -c /root/jar -d "code=$1" -d password=wet+battens -d again=wet+battens \
		https://roof.example.org/login)"
	seen "who set it" "$(code "${through[@]}" -b /root/jar https://roof.example.org/)"
	seen "a stranger still" "$(code "${through[@]}" https://roof.example.org/api/cases)"
}
