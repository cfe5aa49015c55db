// SHA-256 (FIPS 180-4), from libcrypto.
//
// libcrypto is loaded at the first use and not before: most runs need no digest, and loading it
// takes longer than a survey does. This is the only door to it.
#pragma once

#include <cstddef>
#include <memory>
#include <span>
#include <string>

namespace platter {

class Sha256 {
 public:
  /// Throws IoError, naming the library, when libcrypto cannot be loaded.
  Sha256();
  Sha256(Sha256&&) noexcept = default;
  Sha256& operator=(Sha256&&) noexcept = default;
  Sha256(const Sha256&) = delete;
  Sha256& operator=(const Sha256&) = delete;
  ~Sha256() = default;

  void update(std::span<const std::byte> bytes);
  /// The digest of everything so far as 64 lower-case hexadecimal digits; ends the computation.
  [[nodiscard]] std::string finish();

 private:
  struct Free {
    void operator()(void* context) const noexcept;
  };
  std::unique_ptr<void, Free> context_;
};

}  // namespace platter
