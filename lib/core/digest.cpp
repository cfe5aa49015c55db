#include "core/digest.h"

#include <array>
#include <string_view>

#include <openssl/evp.h>

#include "core/charset.h"
#include "core/dynamic_library.h"
#include "core/source.h"

namespace platter {
namespace {

#define PLATTER_TEXT_OF(number) PLATTER_TEXT_OF_TOKEN(number)
#define PLATTER_TEXT_OF_TOKEN(token) #token
// The interface that the headers describe.
constexpr const char* kLibrary = "libcrypto.so." PLATTER_TEXT_OF(OPENSSL_SHLIB_VERSION);
#undef PLATTER_TEXT_OF
#undef PLATTER_TEXT_OF_TOKEN

// The functions with the types of the headers, so a changed signature does not compile.
struct Crypto {
  decltype(&EVP_MD_CTX_new) context_new;
  decltype(&EVP_MD_CTX_free) context_free;
  decltype(&EVP_sha256) sha256;
  decltype(&EVP_DigestInit_ex) init;
  decltype(&EVP_DigestUpdate) update;
  decltype(&EVP_DigestFinal_ex) final;
};

[[noreturn]] void throw_unusable(const char* reason) {
  throw IoError(kLibrary, 0, 0, reason != nullptr ? reason : "the library cannot be used");
}

const Crypto& crypto() {
  static const Crypto functions = [] {
    const DynamicLibrary library(kLibrary);
    Crypto found{};
    library.find("EVP_MD_CTX_new", found.context_new);
    library.find("EVP_MD_CTX_free", found.context_free);
    library.find("EVP_sha256", found.sha256);
    library.find("EVP_DigestInit_ex", found.init);
    library.find("EVP_DigestUpdate", found.update);
    library.find("EVP_DigestFinal_ex", found.final);
    return found;
  }();
  return functions;
}

EVP_MD_CTX* context_of(void* context) {
  return static_cast<EVP_MD_CTX*>(context);
}

}  // namespace

void Sha256::Free::operator()(void* context) const noexcept {
  crypto().context_free(context_of(context));
}

Sha256::Sha256() : context_(crypto().context_new()) {
  if (context_ == nullptr ||
      crypto().init(context_of(context_.get()), crypto().sha256(), nullptr) != 1) {
    throw_unusable("SHA-256 is not available");
  }
}

void Sha256::update(std::span<const std::byte> bytes) {
  if (crypto().update(context_of(context_.get()), bytes.data(), bytes.size()) != 1) {
    throw_unusable("SHA-256 failed");
  }
}

std::string Sha256::finish() {
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
  unsigned length = 0;
  if (crypto().final(context_of(context_.get()), digest.data(), &length) != 1) {
    throw_unusable("SHA-256 failed");
  }
  return hex_of({reinterpret_cast<const char*>(digest.data()), length});
}

}  // namespace platter
