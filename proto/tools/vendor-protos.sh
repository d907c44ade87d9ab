#!/usr/bin/env bash
# Refreshes proto/third_party from pinned registry packages. Run only to bump; the result is committed.
set -euo pipefail
root=$(cd "$(dirname "$0")/../.." && pwd)
gax=${GAX_VERSION:-6.17.0}
tmp=$(mktemp -d); trap 'rm -rf "$tmp"' EXIT

# google/api, google/type, google/rpc: plain files (Apache-2.0) inside the npm package google-gax.
(cd "$tmp" && npm pack --silent "google-gax@$gax" >/dev/null && tar xzf google-gax-*.tgz)
dst=$root/proto/third_party/googleapis; rm -rf "$dst"; mkdir -p "$dst"
for f in google/api/{annotations,http,field_behavior,field_info,resource,client,launch_stage}.proto \
         google/type/date.proto google/rpc/{status,error_details}.proto; do
  mkdir -p "$dst/$(dirname "$f")"; cp "$tmp/package/build/protos/$f" "$dst/$f"
done
cp "$tmp/package/LICENSE" "$dst/LICENSE"

# grpc-gateway's own options: plain files inside the pinned Go module.
gw=$(cd "$root" && go list -m -f '{{.Dir}}' github.com/grpc-ecosystem/grpc-gateway/v2)
dst=$root/proto/third_party/grpc-gateway; rm -rf "$dst"; mkdir -p "$dst/protoc-gen-openapiv2/options"
install -m 0644 "$gw"/protoc-gen-openapiv2/options/*.proto "$dst/protoc-gen-openapiv2/options/"
install -m 0644 "$gw"/LICENSE "$dst/LICENSE"

# protovalidate publishes no text: print buf/validate/validate.proto from the descriptor in the pinned Go module.
(cd "$root/proto/tools" && go run ./protoexport -out "$root/proto/third_party/protovalidate" buf/validate/validate.proto)
